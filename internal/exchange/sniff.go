package exchange

import (
	"bytes"
	"fmt"
	"io"

	"evenhand/internal/screen"
)

// Format is the form of an input.
type Format string

// The forms that are told apart.
const (
	UnknownFormat Format = ""
	JSON          Format = "json"
	ReadingsCSV   Format = "readings_csv"
	RosterCSV     Format = "roster_csv"
)

// Sniff tells the form of an input from its beginning, of which the first row must be whole: JSON by
// its first sign, CSV by the names in its header. A file with a column measure or trial1 holds
// readings; one with name and born or throws, but neither of those, is a roster.
func Sniff(head []byte) Format {
	head = bytes.TrimPrefix(head, byteOrderMark)
	first := bytes.TrimLeft(head, " \t\r\n")
	if len(first) > 0 && (first[0] == '{' || first[0] == '[') {
		return JSON
	}
	text, _, err := decodeText(head)
	if err != nil {
		return UnknownFormat
	}
	if line, _, more := bytes.Cut(bytes.TrimLeft(text, " \t\r\n"), []byte("\n")); more {
		text = line // only the header: a later row may be cut off
	}
	known := func(n string) bool { return readingsLayout.knows(n) || rosterLayout.knows(n) }
	cells, err := newCSV(text, separator(text, known)).Read()
	if err != nil {
		return UnknownFormat
	}
	has := map[string]bool{}
	for _, c := range cells {
		has[headerName(c)] = true
	}
	switch {
	case has["measure"] || has["trial1"]:
		return ReadingsCSV
	case has["name"] && (has["born"] || has["throws"]):
		return RosterCSV
	}
	return UnknownFormat
}

// Read reads an input of any form that Sniff knows, and workbooks (XLSX) whose first sheet has the
// headings of one of the CSV forms. Its errors are those of ReadJSON and ReadCSV.
func Read(r io.Reader, p *screen.Protocol, opt Options) (*Document, Format, error) {
	data, err := readLimited(r, opt)
	if err != nil {
		return nil, UnknownFormat, err
	}
	var notes []string
	elsewhere := ""
	if isWorkbook(data) {
		elsewhere = "; the team's roster page reads athletes from a sheet of any layout"
		if data, notes, err = firstSheet(data, opt.most()); err != nil {
			return nil, UnknownFormat, err
		}
	}
	format := Sniff(data)
	var doc *Document
	switch format {
	case JSON:
		doc, err = parseJSON(data, p, opt)
	case ReadingsCSV:
		doc, err = parseCSV(data, p, opt)
	case RosterCSV:
		doc, err = parseRoster(data, p, opt)
	default:
		err = screen.Faults{{Problem: "this is neither JSON nor a CSV of readings or of a roster",
			Want: "JSON that begins with {, or a header with the columns athlete, date, measure, side, trial1 or name, born, sex, throws, sport, level" + elsewhere}}
	}
	if doc != nil {
		doc.Notes = append(notes, doc.Notes...)
	}
	return doc, format, err
}

// firstSheet is the first sheet of a workbook that holds anything, as CSV, and what was taken for
// granted in reading it.
func firstSheet(data []byte, most int64) (text []byte, notes []string, err error) {
	tables, err := readWorkbook(data, most)
	if err != nil {
		return nil, nil, err
	}
	t := &tables[0]
	notes = t.Notes
	if len(tables) > 1 {
		notes = append(notes, fmt.Sprintf("The workbook has %d sheets with something in them; only %q was read.", len(tables), t.Sheet))
	}
	text, err = t.asCSV()
	return text, notes, err
}
