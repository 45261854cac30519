package demo

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// inProgress is the screening day of a seed as the protocol proposes it, with the second team on its
// list and every fifth measured twice.
func inProgress(p *screen.Protocol, seed uint64) (s Scenario, d screen.Day, x *Day) {
	s, d = Squad(p, seed, today), p.NewDay()
	d.ID, d.Team, d.On = "d1", s.DayTeam().ID, today
	var list []screen.Participant
	for i := range s.Athletes[firstTeam:] {
		list = append(list, screen.Participant{Athlete: s.Athletes[firstTeam+i].ID, Number: i + 1, Twice: (i+1)%5 == 0})
	}
	return s, d, s.Day(&d, list)
}

func TestSameSeedSameDay(t *testing.T) {
	p := protocol(t)
	bytesOf := func(seed uint64) []byte {
		_, _, x := inProgress(p, seed)
		b, err := json.Marshal(x.Entries)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	if !bytes.Equal(bytesOf(7), bytesOf(7)) {
		t.Error("the same seed gives another day")
	}
	if bytes.Equal(bytesOf(7), bytesOf(8)) {
		t.Error("another seed gives the same day")
	}
}

// What the day was promised to hold, counted from its entries.
func TestTheDayIsAsPromised(t *testing.T) {
	p := protocol(t)
	for seed := range uint64(20) {
		s, d, x := inProgress(p, seed)
		c := countDay(t, p, s, d, x)
		if c.entries < 600 || c.signs != 1 || c.walkOns != 1 || c.hands != 1 || c.pain != 1 || c.noTime == 0 {
			t.Errorf("seed %d: %+v", seed, c.dayNumbers)
		}
		if c.second == 0 || c.otherHelper == 0 || c.otherHelper == c.second || c.conflicts != 1 || c.added == 0 || c.swapped < 1 || c.swapped > 3 {
			t.Errorf("seed %d: %+v", seed, c.dayNumbers)
		}
		if len(c.through) < 14 || len(c.helpers) < 4 || len(c.devices) != len(d.Stations)+1 {
			t.Errorf("seed %d: %d athletes measured, helpers %v, devices %v", seed, len(c.through), c.helpers, c.devices)
		}
	}
}

type dayNumbers struct {
	entries, signs, walkOns, hands, pain, noTime   int
	second, otherHelper, conflicts, added, swapped int
}

type dayCount struct {
	dayNumbers
	through, helpers, devices, ids, checkIns map[string]bool

	by   map[string]string // cell -> who measured it first
	held string            // who has a referral sign
}

func countDay(t *testing.T, p *screen.Protocol, s Scenario, d screen.Day, x *Day) *dayCount {
	t.Helper()
	c := &dayCount{dayNumbers: dayNumbers{entries: len(x.Entries)}, through: map[string]bool{}, helpers: map[string]bool{}, devices: map[string]bool{},
		ids: map[string]bool{}, checkIns: map[string]bool{}, by: map[string]string{}}
	last := DayLasts
	for i := range x.Entries {
		e := &x.Entries[i]
		if e.Ago > last || e.Ago < justNow || e.Station < 0 || e.Station >= len(d.Stations) || c.ids[e.ID] || len(e.ID) != 36 || e.ID[14] != '7' {
			t.Fatalf("entry %d: %+v", i, e)
		}
		last, c.ids[e.ID], c.helpers[e.Examiner], c.devices[e.Device] = e.Ago, true, true, true
		if e.Athlete == c.held && e.Kind != screen.DayCheckIn {
			t.Errorf("%s of an athlete with a referral sign", e.Kind)
		}
		c.entry(t, p, &s, e)
	}
	for _, g := range x.maker.who {
		rec, _ := x.maker.record(g)
		for _, q := range p.Questions(rec, x.maker.lastRecord(g)) {
			if q.Kind == "digits_swapped" {
				c.swapped++
			}
		}
	}
	return c
}

func (c *dayCount) entry(t *testing.T, p *screen.Protocol, s *Scenario, e *DayEntry) {
	t.Helper()
	switch e.Kind {
	case screen.DayCheckIn:
		c.checkIns[e.Athlete] = true
		at := slices.IndexFunc(s.Athletes, func(a screen.Athlete) bool { return a.ID == e.Athlete })
		if at >= 0 && s.Athletes[at].HandOn(today) != e.Hand {
			c.hands++
		}
	case screen.DaySymptom:
		c.held = e.Athlete
		c.signs++
	case screen.DayWalkOn:
		c.walkOns++
		if f := p.CheckAthlete(e.Person, today, "person"); len(f) > 0 {
			t.Error(f)
		}
	case screen.DayNotDone:
		c.pain += map[screen.Reason]int{screen.ReasonPain: 1}[e.Reason]
		c.noTime += map[screen.Reason]int{screen.ReasonNoTime: 1}[e.Reason]
	case screen.DayReading:
		c.reading(t, p, e)
	}
	if e.Kind != screen.DayCheckIn && e.Kind != screen.DaySymptom && e.Kind != screen.DayWalkOn && !c.checkIns[e.Athlete] {
		t.Errorf("%s before check-in", e.Kind)
	}
}

func (c *dayCount) reading(t *testing.T, p *screen.Protocol, e *DayEntry) {
	t.Helper()
	r := screen.Reading{ID: e.ID, Measure: e.About, Side: e.Side, Trials: e.Trials, Examiner: e.Examiner}
	if f := p.CheckReading(&r, "reading"); len(f) > 0 {
		t.Error(f)
	}
	c.through[e.Athlete] = true
	cell := e.Athlete + e.About + string(e.Side)
	if len(e.Trials) > p.Measure(e.About).Trials.Planned {
		c.added++
	}
	first := c.by[cell]
	switch {
	case e.Round == 2:
		c.second++
		if first == "" {
			t.Error("a second measurement without a first")
		}
		if e.Examiner != first {
			c.otherHelper++
		}
	case first == "":
		c.by[cell] = e.Examiner
	case e.Examiner != first:
		c.conflicts++
	}
}

// What is measured again comes after what the station had sent of the athlete before, on the same sides.
func TestMeasuredAgain(t *testing.T) {
	_, _, x := inProgress(protocol(t), 3)
	n := 0
	for _, e := range x.Entries {
		if e.Kind != screen.DayReading || e.Round != 1 || e.Side != screen.Left {
			continue
		}
		for _, a := range x.MeasuredAgain(e.Athlete, e.About, e.Side) {
			n++
			if !a.Again || a.Ago >= e.Ago || a.Ago < justNow || a.ID == e.ID || a.Side != e.Side || a.Station != e.Station || a.Examiner == "" {
				t.Errorf("%+v after %+v", a, e)
			}
		}
	}
	if n < 100 || x.MeasuredAgain("nobody", "elbow_flexion", screen.NoSide) != nil {
		t.Errorf("%d measured again", n)
	}
}

// A list of any length makes a day, and so does a day without check-in.
func TestShortLists(t *testing.T) {
	p := protocol(t)
	s := Squad(p, 1, today)
	for n := range 8 {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			d := p.NewDay()
			d.ID, d.On = "d1", today
			if n == 7 {
				d.Stations = d.Stations[1:]
			}
			var list []screen.Participant
			for i := range n {
				list = append(list, screen.Participant{Athlete: s.Athletes[firstTeam+i].ID, Number: i + 1, Twice: i == 4})
			}
			x := s.Day(&d, list)
			if n > notYetThere && len(x.Entries) == 0 {
				t.Error("nothing was entered")
			}
			for _, e := range x.Entries {
				if e.Ago > DayLasts || e.Ago < 20*time.Second {
					t.Errorf("%s ago", e.Ago)
				}
			}
		})
	}
}
