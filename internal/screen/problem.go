package screen

import "errors"

// Code says what kind of problem a use case met. Each maps to one HTTP status, in one place.
type Code string

// The kinds of problem.
const (
	NotFound  Code = "not_found" // no such record
	Conflict  Code = "conflict"  // the id is taken by a record that says something else
	Stale     Code = "stale"     // the record changed since it was read
	Forbidden Code = "forbidden" // the acting person may not do this
	Unknown   Code = "unknown"   // nobody is known to act, and somebody has to
	Invalid   Code = "invalid"   // the request contradicts what is on record
	Full      Code = "full"      // the disk takes no more
)

// Problem is the one error type of evenhand's use cases besides Faults. Text says what was wrong,
// Want what would be right. Both may be shown to a user; an error of any other type may not.
type Problem struct {
	Code Code
	Text string
	Want string
}

func (p *Problem) Error() string {
	if p.Want == "" {
		return p.Text
	}
	return p.Text + "; " + p.Want
}

// IsCode reports whether err is, or wraps, a Problem with the code given.
func IsCode(err error, c Code) bool {
	var p *Problem
	return errors.As(err, &p) && p.Code == c
}
