package screen

import (
	"fmt"
	"time"
)

// Date is a calendar day without a time zone, written 2006-01-02. The zero Date means "not given".
// It orders as text does, so it can be compared and stored as it is written.
type Date string

// ParseDate reads a day written 2006-01-02 and refuses every other form, also days that the
// calendar does not have.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 1800 {
		return "", fmt.Errorf("%q is not a day: write it as 2026-02-10", s)
	}
	return Date(s), nil
}

// DateOf is the calendar day of t in t's own zone.
func DateOf(t time.Time) Date { return Date(t.Format(time.DateOnly)) }

// Valid reports whether d is a day of the calendar.
func (d Date) Valid() bool { _, err := ParseDate(string(d)); return err == nil }

// Time is midnight UTC of d; the zero time if d is not a day.
func (d Date) Time() time.Time {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return time.Time{}
	}
	return t
}

// AddDays is the day n days after d.
func (d Date) AddDays(n int) Date { return DateOf(d.Time().AddDate(0, 0, n)) }

// YearsTo is the age in years, with the part of the year run, on the day on of somebody born on d.
// Birthdays fall exactly on whole years, so age limits switch on the birthday itself.
func (d Date) YearsTo(on Date) float64 {
	b, t := d.Time(), on.Time()
	if b.IsZero() || t.IsZero() {
		return 0
	}
	years := t.Year() - b.Year()
	last := b.AddDate(years, 0, 0)
	if last.After(t) {
		years--
		last = b.AddDate(years, 0, 0)
	}
	next := b.AddDate(years+1, 0, 0)
	return float64(years) + t.Sub(last).Hours()/next.Sub(last).Hours()
}
