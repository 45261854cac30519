package exchange

import (
	"fmt"
	"io"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/google/uuid"

	"evenhand/internal/screen"
)

// CalendarDay is one entry of a calendar: a whole day on which something is due.
type CalendarDay struct {
	Key     string // what the entry is about: the same key is the same entry, also with another day
	On      screen.Date
	Summary string
	Text    string
	URL     string // empty: none
	Private bool   // it names a person
}

// calendarSpace is the name space of entries' ids (RFC 9562, version 5): the same entry has the same id
// in every reading of the feed, and the id tells nothing.
var calendarSpace = uuid.MustParse("6f0a3a0e-59a5-5c4e-9f0e-0a2c1b6f7d31")

// WriteCalendar writes days as an iCalendar feed (RFC 5545): whole-day entries that block no time, with
// CRLF line ends and lines of at most 75 octets. stamp is when the feed was made.
func WriteCalendar(w io.Writer, name string, days []CalendarDay, stamp time.Time) error {
	cal := ics.NewCalendarFor("evenhand")
	cal.SetMethod(ics.MethodPublish)
	cal.SetName(name)
	cal.SetXWRCalName(name)
	cal.SetRefreshInterval("PT12H")
	for i := range days {
		d := &days[i]
		e := cal.AddEvent(uuid.NewSHA1(calendarSpace, []byte(d.Key)).String())
		e.SetDtStampTime(stamp)
		e.SetAllDayStartAt(d.On.Time())
		e.SetAllDayEndAt(d.On.AddDays(1).Time()) // the end is the first day after
		e.SetSummary(d.Summary)
		e.SetDescription(d.Text)
		e.SetTimeTransparency(ics.TransparencyTransparent)
		if d.URL != "" {
			e.SetURL(d.URL)
		}
		if d.Private {
			e.SetClass(ics.ClassificationPrivate)
		}
	}
	if err := cal.SerializeTo(w, ics.WithNewLineWindows); err != nil {
		return fmt.Errorf("write calendar: %w", err)
	}
	return nil
}
