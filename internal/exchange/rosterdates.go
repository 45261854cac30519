package exchange

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"evenhand/internal/screen"
)

// DateOrder is the order of day and month in dates such as 5/3/2012.
type DateOrder string

// The orders. The empty one is not known yet.
const (
	DayFirst   DateOrder = "dmy"
	MonthFirst DateOrder = "mdy"
)

// Words is how the order is said.
func (o DateOrder) Words() string {
	if o == MonthFirst {
		return "month/day/year"
	}
	return "day/month/year"
}

// DateReading says how the dates of a roster were read.
type DateReading struct {
	Order   DateOrder // in which dates of two meanings were read; empty: none, or not known
	Ask     bool      // some dates have two meanings and nothing in the column decides
	Given   bool      // the order was said by a person
	Row     int       // with an example
	Example string
	AsDMY   screen.Date // the example with the day first
	AsMDY   screen.Date
}

// someDay is a date as it was typed: a day, or numbers of which the first two can be day or month.
type someDay struct {
	on       screen.Date // known; empty otherwise
	dmy, mdy screen.Date // where not known: with the day first, with the month first; empty: no such day
	fault    *screen.Fault
}

var (
	yearFirst  = regexp.MustCompile(`^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?Z?)?$`)
	yearLast   = regexp.MustCompile(`^(\d{1,2})[-/.] ?(\d{1,2})[-/.] ?(\d{4})(?: \d{1,2}:\d{2}(?::\d{2})?(?: ?[AaPp][Mm])?)?$`)
	shortYear  = regexp.MustCompile(`^\d{1,2}[-/. ]+(?:\d{1,2}|[A-Za-z]{3,9})[-/., ]+\d{2}$`)
	dayNumber  = regexp.MustCompile(`^\d{5}(?:\.0+)?$`)
	monthInIt  = regexp.MustCompile(`[A-Za-z]{3}`)
	wordsBreak = regexp.MustCompile(`[-/., ]+`)
)

const wantDay = "a day such as 2012-05-03"

// readDay reads a date without knowing the order of day and month.
func readDay(s string) someDay {
	if m := yearFirst.FindStringSubmatch(s); m != nil {
		if d := dayOf(m[1], m[2], m[3]); d != "" {
			return someDay{on: d}
		}
		return badDay("the calendar has no such day", wantDay)
	}
	if m := yearLast.FindStringSubmatch(s); m != nil {
		d := someDay{dmy: dayOf(m[3], m[2], m[1]), mdy: dayOf(m[3], m[1], m[2])}
		if d.dmy == "" && d.mdy == "" {
			return badDay("the calendar has no such day", wantDay)
		}
		if d.dmy == d.mdy {
			d.on = d.dmy
		}
		return d
	}
	switch {
	case shortYear.MatchString(s):
		return badDay("the year has two digits", "a year of four digits, as in 2012-05-03")
	case dayNumber.MatchString(s):
		return badDay("this is a plain number, perhaps a spreadsheet's number of a day", "format the cells as a date, or write the day as 2012-05-03")
	case monthInIt.MatchString(s):
		return readMonthName(s)
	}
	return badDay("this is not a date", wantDay)
}

func badDay(problem, want string) someDay {
	return someDay{fault: &screen.Fault{Problem: problem, Want: want}}
}

// readMonthName reads "3 May 2012", "May 3, 2012", "3-May-2012".
func readMonthName(s string) someDay {
	plain := strings.ToLower(strings.Trim(wordsBreak.ReplaceAllString(s, " "), " "))
	plain = strings.Replace(plain, "sept ", "sep ", 1)
	for _, layout := range []string{"2 Jan 2006", "2 January 2006", "Jan 2 2006", "January 2 2006", "2006 Jan 2"} {
		if t, err := time.Parse(layout, plain); err == nil && t.Year() >= 1800 {
			return someDay{on: screen.DateOf(t)}
		}
	}
	return badDay("this is not a date", wantDay)
}

// dayOf is a day of the calendar, empty if it has no such day.
func dayOf(year, month, day string) screen.Date {
	y, _ := strconv.Atoi(year)
	m, _ := strconv.Atoi(month)
	d, _ := strconv.Atoi(day)
	on := screen.Date(fmt.Sprintf("%04d-%02d-%02d", y, m, d))
	if !on.Valid() {
		return ""
	}
	return on
}

// orderOf decides the order of day and month for a whole column: by what a person said, or because only
// one order is possible in it. It is never guessed.
func orderOf(t *RosterTable, column int, said DateOrder) (out DateReading) {
	var onlyDMY, onlyMDY, open *RosterRow
	for i := range t.Rows {
		r := &t.Rows[i]
		d := readDay(r.Cells[column])
		switch {
		case d.on != "" || d.fault != nil:
		case d.mdy == "" && onlyDMY == nil:
			onlyDMY = r
		case d.dmy == "" && onlyMDY == nil:
			onlyMDY = r
		case d.dmy != "" && d.mdy != "" && open == nil:
			open = r
		}
	}
	example := open
	switch {
	case said != "":
		out.Order, out.Given = said, true
	case onlyDMY != nil && onlyMDY == nil:
		out.Order, example = DayFirst, onlyDMY
	case onlyMDY != nil && onlyDMY == nil:
		out.Order, example = MonthFirst, onlyMDY
	case onlyDMY != nil || open != nil:
		out.Ask = true
	}
	if example == nil {
		example = onlyDMY
	}
	if example == nil {
		return DateReading{} // no date in the column needs an order
	}
	d := readDay(example.Cells[column])
	out.Row, out.Example, out.AsDMY, out.AsMDY = example.Row, example.Cells[column], d.dmy, d.mdy
	return out
}

// in is the day by the order given; a fault if there is none.
func (d someDay) in(o DateOrder) (screen.Date, *screen.Fault) {
	switch {
	case d.fault != nil || d.on != "":
		return d.on, d.fault
	case o == "":
		return "", &screen.Fault{Problem: "it is not known whether the day or the month comes first", Want: "say above in which order the dates are, or write the day as 2012-05-03"}
	case o == DayFirst && d.dmy != "":
		return d.dmy, nil
	case o == MonthFirst && d.mdy != "":
		return d.mdy, nil
	}
	return "", &screen.Fault{Problem: "read as " + o.Words() + ", the calendar has no such day", Want: wantDay}
}

// note says which order was found, and by what.
func (d *DateReading) note() []string {
	if d.Order == "" || d.Given {
		return nil
	}
	return []string{fmt.Sprintf("Dates were read as %s: row %d has %s, which allows no other order.", d.Order.Words(), d.Row, d.Example)}
}
