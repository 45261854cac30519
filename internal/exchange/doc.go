// Package exchange reads and writes evenhand's records: JSON documents, readings and rosters as CSV,
// findings as CSV, and the output of the score command. It takes no clock: the day on which data are
// judged is passed in. A reader either accepts an input whole or returns screen.Faults, each with the
// place of the fault (a JSON path, or row and column as a spreadsheet counts them), the value as it
// was typed, and what would be right. Nothing is guessed silently: what was taken for granted is said
// in Document.Notes.
package exchange
