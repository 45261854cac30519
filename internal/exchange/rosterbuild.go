package exchange

import (
	"fmt"
	"strings"

	"evenhand/internal/screen"
)

// RosterSettings are what a person says about a roster besides what stands in it.
type RosterSettings struct {
	Means []Meaning // of each column
	Dates DateOrder // empty: as the column itself decides
	// For all rows, where no column holds it.
	Sport string
	Level screen.Level
	Sex   screen.Sex
}

// RosterAthlete is what a row says. The athlete has no id.
type RosterAthlete struct {
	Row     int
	Athlete screen.Athlete
	Consent screen.Date   // when a consent for screening was given; empty: the row does not say so
	Faults  screen.Faults // with their places; the athlete is not to be used if there are any
}

// RosterResult is a roster with its columns understood.
type RosterResult struct {
	Rows   []RosterAthlete // none if Faults says that the columns do not suffice
	Faults screen.Faults   // what is wrong with the meanings of the columns
	Dates  DateReading
	Notes  []string
}

// BuildRoster makes the athletes of a table. Nothing is guessed: what was converted or decided is said
// in Notes, and what cannot be decided is a fault or a question.
func BuildRoster(t *RosterTable, s RosterSettings, p *screen.Protocol, today screen.Date) *RosterResult {
	out := &RosterResult{}
	b := rosterBuilder{t: t, s: s, p: p, today: today, at: map[Meaning]int{}, out: out, told: map[string]*conversion{}}
	if b.columns(); len(out.Faults) > 0 {
		return out
	}
	out.Dates = orderOf(t, b.at[MeansBorn], s.Dates)
	out.Notes = append(out.Notes, out.Dates.note()...)
	for i := range t.Rows {
		out.Rows = append(out.Rows, b.row(&t.Rows[i]))
	}
	out.Notes = append(out.Notes, b.conversions()...)
	out.Notes = append(out.Notes, b.decimals.note()...)
	if len(t.Rows) == 0 {
		out.Notes = append(out.Notes, "There are no rows below the headings.")
	}
	return out
}

type rosterBuilder struct {
	t        *RosterTable
	s        RosterSettings
	p        *screen.Protocol
	today    screen.Date
	at       map[Meaning]int // meaning -> column
	height   Meaning         // which of the heights, if any
	mass     Meaning
	out      *RosterResult
	decimals decimals
	told     map[string]*conversion
	order    []string // of told
}

// conversion counts values that were not taken as they stand, with the first of them.
type conversion struct {
	n           int
	row         int
	typed, read string
}

// columns finds the column of each meaning.
func (b *rosterBuilder) columns() {
	f := &b.out.Faults
	fields := map[string]string{}
	for i, m := range b.s.Means {
		if m == "" || i >= len(b.t.Headings) {
			continue
		}
		if other, twice := fields[m.field()]; twice {
			f.Add("column "+b.t.Headings[i], "each meaning for one column; leave the other out", "it means the %s, and so does the column %s", m.Words(), other)
		}
		fields[m.field()] = b.t.Headings[i]
		b.at[m] = i
		switch m.field() {
		case "height":
			b.height = m
		case "mass":
			b.mass = m
		}
	}
	b.required(f)
}

func (b *rosterBuilder) required(f *screen.Faults) {
	has := func(m Meaning) bool { _, ok := b.at[m]; return ok }
	if !has(MeansName) && !has(MeansFirst) && !has(MeansLast) {
		f.Add("", "say below which column holds it", "no column is known to hold the name")
	}
	if has(MeansName) && (has(MeansFirst) || has(MeansLast)) {
		f.Add("", "the full name, or first and last name", "the name is given twice, in full and in parts")
	}
	for _, m := range []Meaning{MeansBorn, MeansThrows} {
		if !has(m) {
			f.Add("", "say below which column holds it", "no column is known to hold the %s", m.Words())
		}
	}
	for _, x := range []struct {
		m     Meaning
		given bool
	}{{MeansSex, b.s.Sex != ""}, {MeansSport, b.s.Sport != ""}, {MeansLevel, b.s.Level != ""}} {
		if !has(x.m) && !x.given {
			f.Add("", "say below which column holds it, or what it is for all rows", "no column is known to hold the %s", x.m.Words())
		}
	}
}

// rowReader reads the cells of one row and gathers their faults.
type rowReader struct {
	b   *rosterBuilder
	row *RosterRow
	out *RosterAthlete
	bad map[string]bool // fields of the athlete that are at fault already
}

func (b *rosterBuilder) row(r *RosterRow) RosterAthlete {
	out := RosterAthlete{Row: r.Row}
	c := rowReader{b: b, row: r, out: &out, bad: map[string]bool{}}
	for _, m := range r.Marks {
		means := Meaning("")
		if m.Column < len(b.s.Means) {
			means = b.s.Means[m.Column]
		}
		if m.Kind == TooWide || means != "" { // a column that is left out may hold what it likes
			out.Faults = append(out.Faults, b.t.markFault(r, m))
			c.bad[fieldOf(means)] = true
		}
	}
	c.athlete()
	c.consent()
	check := out.Athlete
	check.ID = "row"
	for _, f := range b.p.CheckAthlete(&check, b.today, "") {
		field, _, _ := strings.Cut(f.Where, "[")
		if !c.bad[field] {
			c.place(field, f)
		}
	}
	return out
}

// fieldOf is the field of an athlete that a column fills, as CheckAthlete calls it.
func fieldOf(m Meaning) string {
	switch m.field() {
	case "height":
		return "height_cm"
	case "mass":
		return "mass_kg"
	case string(MeansFirst), string(MeansLast):
		return "name"
	}
	return string(m)
}

func (c *rowReader) text(m Meaning) string {
	if i, ok := c.b.at[m]; ok && m != "" {
		return c.row.Cells[i]
	}
	return ""
}

// place puts a fault of a field to the cell from which the field was read.
func (c *rowReader) place(field string, f screen.Fault) {
	f.Where = placeOf(c.row.Row, field)
	for i, m := range c.b.s.Means {
		if m != "" && i < len(c.row.Cells) && fieldOf(m) == field {
			f.Where, f.Value = placeOf(c.row.Row, c.b.t.Headings[i]), clip(c.row.Cells[i], 80)
			break
		}
	}
	c.bad[field] = true
	c.out.Faults = append(c.out.Faults, f)
}

func (c *rowReader) fault(m Meaning, f *screen.Fault) {
	if f != nil && !c.bad[fieldOf(m)] {
		c.place(fieldOf(m), *f)
	}
}

// athlete fills the athlete from the cells that are not empty.
func (c *rowReader) athlete() {
	a, b := &c.out.Athlete, c.b
	a.Name = c.text(MeansName)
	if a.Name == "" {
		a.Name = strings.TrimSpace(c.text(MeansFirst) + " " + c.text(MeansLast))
	}
	a.Sex, a.Sport, a.Level = b.s.Sex, b.s.Sport, b.s.Level
	a.ExternalID = c.text(MeansNumber)
	read(c, MeansBorn, &a.Born, func(s string) (screen.Date, *screen.Fault) { return readDay(s).in(b.out.Dates.Order) })
	read(c, MeansSex, &a.Sex, readSex)
	read(c, MeansThrows, &a.Hands, readHands)
	read(c, MeansSport, &a.Sport, func(s string) (string, *screen.Fault) { return readSport(s, b.p) })
	read(c, MeansLevel, &a.Level, readLevel)
	var short string
	s := c.text(MeansPosition)
	a.Positions, short = readPositions(s, a.Sport, b.p)
	if short != "" {
		b.tell("Short forms of positions were written in full", c.row.Row, s, strings.Join(a.Positions, ", "))
	}
	a.HeightCM = c.size(b.height)
	a.MassKG = c.size(b.mass)
}

// consent reads the day of the consent, if the row has one. It is written as birth dates are.
func (c *rowReader) consent() {
	s := c.text(MeansConsent)
	if s == "" {
		return
	}
	on, f := readDay(s).in(c.b.out.Dates.Order)
	switch {
	case f != nil:
	case on > c.b.today:
		f = &screen.Fault{Problem: string(on) + " is in the future", Want: "a day up to today, or an empty cell"}
	case on < c.out.Athlete.Born:
		f = &screen.Fault{Problem: string(on) + " lies before the athlete's birth", Want: "the day on which the consent was given, or an empty cell"}
	default:
		c.out.Consent = on
	}
	c.fault(MeansConsent, f)
}

// read reads the cell of a column that must be filled, if there is such a column.
func read[T any](c *rowReader, m Meaning, to *T, understand func(string) (T, *screen.Fault)) {
	if _, ok := c.b.at[m]; !ok {
		return
	}
	s := c.text(m)
	if s == "" {
		c.fault(m, &screen.Fault{Problem: "the " + m.Words() + " is missing", Want: wanted[m]})
		return
	}
	x, f := understand(s)
	*to = x
	c.fault(m, f)
}

// wanted says what belongs into a cell that is empty.
var wanted = map[Meaning]string{MeansBorn: "the birth date, as 2011-04-02", MeansSex: "male or female", MeansThrows: "right, left or both",
	MeansSport: "the sport", MeansLevel: "youth, school, college or professional"}

// size is a height in cm or a mass in kg; 0 if the cell is empty or at fault.
func (c *rowReader) size(m Meaning) float64 {
	s := c.text(m)
	if s == "" {
		return 0
	}
	v, f := readSize(s, m, cellAt{c.row.Row, c.b.t.Headings[c.b.at[m]], s}, &c.b.decimals)
	if f != nil {
		c.fault(m, f)
		return 0
	}
	if v.converted {
		words, unit := "Heights were converted to cm", " cm"
		if m.field() == "mass" {
			words, unit = "Masses were converted to kg", " kg"
		}
		c.b.tell(words, c.row.Row, s, number(v.value)+unit)
	}
	if m == MeansHeight && !v.unit {
		c.b.tell("Heights without a unit were read as cm", c.row.Row, s, number(v.value)+" cm")
	}
	if m == MeansMass && !v.unit {
		c.b.tell("Masses without a unit were read as kg", c.row.Row, s, number(v.value)+" kg")
	}
	return v.value
}

// tell counts a value that was converted.
func (b *rosterBuilder) tell(words string, row int, typed, read string) {
	x := b.told[words]
	if x == nil {
		x = &conversion{row: row, typed: typed, read: read}
		b.told[words] = x
		b.order = append(b.order, words)
	}
	x.n++
}

func (b *rosterBuilder) conversions() (out []string) {
	for _, words := range b.order {
		x := b.told[words]
		rows := "1 row"
		if x.n > 1 {
			rows = fmt.Sprintf("%d rows", x.n)
		}
		out = append(out, fmt.Sprintf("%s in %s: %s in row %d is read as %s.", words, rows, clip(x.typed, 60), x.row, clip(x.read, 80)))
	}
	return out
}
