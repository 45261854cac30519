package exchange

import (
	"fmt"
	"strings"

	"evenhand/internal/screen"
)

// screen is the screen that the row belongs to, nil and a fault if the row contradicts an earlier one.
func (c *csvReader) screen(q *person) *csvScreen {
	key := screenKey{q.athlete.ID, c.t.text("date"), c.t.word("kind"), c.t.text("screen")}
	if key.kind == "" {
		key.kind = string(screen.Preseason)
		c.noKind++
	}
	s, ok := c.screens[key]
	if !ok {
		s = c.newScreen(key, q)
		if s == nil {
			return nil
		}
	}
	s.rows++
	if s.rows == screen.MaxReadings+1 {
		c.t.fault("athlete", &screen.Fault{Problem: fmt.Sprintf("the screen has more than %d readings", screen.MaxReadings), Want: "one screen a day"})
		return nil
	}
	return s
}

// newScreen starts a screen. The day is checked here, so that the fault names the first of its rows.
func (c *csvReader) newScreen(key screenKey, q *person) *csvScreen {
	key = screenKey{key.athlete, strings.Clone(key.on), strings.Clone(key.kind), strings.Clone(key.id)}
	id := key.id
	if id == "" {
		id = derivedID("screen", key.athlete, key.on, key.kind)
	}
	if first, ok := c.byID[id]; ok {
		c.t.fault("screen", &screen.Fault{Problem: fmt.Sprintf("row %d has the same screen with another athlete, date or kind", first.row), Want: "one athlete, date and kind for each screen"})
		return nil
	}
	s := &csvScreen{person: q, row: c.t.row, on: c.t.typed("date"), kind: c.t.typed("kind"), id: c.t.typed("screen")}
	s.rec = &screen.Record{Screen: screen.Screen{ID: id, Athlete: q.athlete.ID, Team: c.opt.Team, On: screen.Date(key.on), Kind: screen.Kind(key.kind)}}
	c.screens[key], c.byID[id] = s, s
	c.order = append(c.order, s)
	return s
}

// finish builds the athletes and the screens when all rows are read.
func (c *csvReader) finish() {
	if c.own {
		for _, q := range c.people.order {
			q.build(c.p, c.opt.Today, &c.decimals, &c.faults)
			c.doc.Athletes = append(c.doc.Athletes, q.athlete)
		}
	}
	for _, s := range c.order {
		c.checkScreen(s)
		s.rec.Athlete = s.person.athlete
		c.doc.Records, c.doc.Places = append(c.doc.Records, *s.rec), append(c.doc.Places, placeOf(s.row, "athlete"))
	}
	if c.rows == 0 {
		c.doc.Notes = append(c.doc.Notes, "The file has no rows below its header.")
	}
	if c.noKind > 0 {
		c.doc.Notes = append(c.doc.Notes, fmt.Sprintf("%d of %d rows do not name the kind of screen; they were read as preseason.", c.noKind, c.rows))
	}
	c.doc.Notes = append(c.doc.Notes, c.decimals.note()...)
}

func (c *csvReader) checkScreen(s *csvScreen) {
	athlete := &s.person.athlete
	if s.person.bad { // a wrong birth date is told once
		athlete = &screen.Athlete{}
	}
	for _, f := range screen.CheckScreen(&s.rec.Screen, athlete, c.opt.Today, "") {
		switch f.Where {
		case "on":
			f.Where, f.Value = placeOf(s.row, "date"), clip(s.on, 80)
		case "kind":
			f.Where, f.Value = placeOf(s.row, "kind"), clip(s.kind, 80)
		default:
			f.Where, f.Value = placeOf(s.row, "screen"), clip(s.id, 80)
		}
		c.faults.add(f)
	}
}
