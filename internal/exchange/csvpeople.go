package exchange

import (
	"fmt"
	"strings"

	"evenhand/internal/screen"
)

// athleteColumns are the columns about the athlete; they mean the same in readings and rosters.
var athleteColumns = []string{"name", "born", "sex", "throws", "sport", "level", "positions", "height_cm", "mass_kg", "external_id"}

// people are the athletes of a file, in the order in which they are met.
type people struct {
	byRef map[string]*person
	order []*person
}

// person is an athlete in the making, with what the file says in each of athleteColumns.
type person struct {
	ref     string
	column  string // the column that the athlete is told by
	row     int
	cells   []personCell
	named   bool // the file has a column for the name
	unknown bool
	bad     bool // what the file says of the athlete is at fault
	athlete screen.Athlete
	faults  *collector
}

// personCell is what a file says of an athlete in one column, and in which row first.
type personCell struct {
	row  int
	text string
}

func (p *people) add(ref string, t *table) *person {
	q := &person{ref: ref, column: "athlete", row: t.row, cells: make([]personCell, len(athleteColumns)), named: t.has("name"), faults: t.faults}
	p.byRef[ref] = q
	p.order = append(p.order, q)
	return q
}

// compare notes what the row says of the athlete. An empty cell says nothing; a cell that
// contradicts an earlier row is a fault that names both.
func (q *person) compare(t *table) {
	for i, name := range athleteColumns {
		s := t.text(name)
		switch c := &q.cells[i]; {
		case s == "" || s == c.text:
		case c.row == 0:
			*c = personCell{t.row, strings.Clone(s)}
		default:
			t.fault(name, &screen.Fault{Problem: fmt.Sprintf("%q contradicts %q in row %d for the same athlete", clip(s, 60), clip(c.text, 60), c.row), Want: "the same in every row of an athlete"})
		}
	}
}

func (q *person) cell(name string) personCell {
	for i, n := range athleteColumns {
		if n == name && q.cells[i].row > 0 {
			return q.cells[i]
		}
	}
	return personCell{row: q.row}
}

// build makes the athlete of what the file says, and checks it.
func (q *person) build(p *screen.Protocol, today screen.Date, d *decimals, faults *collector) {
	before := faults.total
	a := &q.athlete
	a.Name = q.cell("name").text
	if !q.named {
		a.Name = q.ref
	}
	a.Born = screen.Date(q.cell("born").text)
	a.Sex = screen.Sex(strings.ToLower(q.cell("sex").text))
	a.Hands = parseHands(q.cell("throws").text)
	a.Sport = strings.ToLower(q.cell("sport").text)
	a.Level = screen.Level(strings.ToLower(q.cell("level").text))
	a.Positions = parsePositions(q.cell("positions").text)
	a.HeightCM = q.number("height_cm", d)
	a.MassKG = q.number("mass_kg", d)
	a.ExternalID = q.cell("external_id").text
	if len(a.Hands) > maxHands {
		faults.add(tooManyHands(placeOf(q.cell("throws").row, "throws"), len(a.Hands)))
	}
	if q.bad = faults.total > before; q.bad {
		return
	}
	for _, f := range p.CheckAthlete(a, today, "") {
		name := columnOf(f.Where, map[string]string{"id": q.column})
		c := q.cell(name)
		f.Where, f.Value = placeOf(c.row, name), clip(c.text, 80)
		if name == q.column {
			f.Value = clip(q.ref, 80)
		}
		q.bad = true
		faults.add(f)
	}
}

func (q *person) number(column string, d *decimals) float64 {
	c := q.cell(column)
	if c.text == "" {
		return 0
	}
	x, f := d.parse(cellAt{c.row, column, c.text})
	if f != nil {
		f.Where, f.Value = placeOf(c.row, column), clip(c.text, 80)
		q.faults.add(*f)
	}
	return x
}

// maxHands is how many times the throwing hand of one athlete may be told. Common practice, no source.
const maxHands = 20

func tooManyHands(where string, n int) screen.Fault {
	return screen.Fault{Where: where, Problem: fmt.Sprintf("%d throwing hands are given", n), Want: fmt.Sprintf("at most %d", maxHands)}
}

// parsePositions splits "pitcher; infielder" or "pitcher/infielder".
func parsePositions(s string) (out []string) {
	for _, x := range strings.FieldsFunc(s, func(c rune) bool { return c == ';' || c == '/' }) {
		if x = strings.ToLower(strings.TrimSpace(x)); x != "" {
			out = append(out, x)
		}
	}
	return out
}

// parseHands reads a throwing hand, or hands with the day from which each holds:
// "right; left from 2025-03-01".
func parseHands(s string) (out []screen.HandSince) {
	for x := range strings.SplitSeq(s, ";") {
		hand, from, _ := strings.Cut(strings.ToLower(strings.TrimSpace(x)), " from ")
		if hand == "" {
			continue
		}
		out = append(out, screen.HandSince{Hand: screen.Hand(strings.TrimSpace(hand)), From: screen.Date(strings.TrimSpace(from))})
	}
	return out
}

// handWords writes what parseHands reads.
func handWords(hands []screen.HandSince) string {
	words := make([]string, len(hands))
	for i, h := range hands {
		words[i] = string(h.Hand)
		if h.From != "" {
			words[i] += " from " + string(h.From)
		}
	}
	return strings.Join(words, "; ")
}
