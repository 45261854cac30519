// Package screen holds the record of a screening (athletes, screens, readings) and the protocol
// that says what is measured, with which error, and which thresholds are looked at. It knows no
// other package of evenhand, does no input or output but the embedded protocol, and takes no clock:
// whoever validates passes the day in.
package screen
