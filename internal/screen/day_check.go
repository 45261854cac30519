package screen

import (
	"fmt"
	"strings"
)

// Limits of a screening day. Assumed: several times what a large programme does.
const (
	MaxStations     = 20
	MaxSteps        = 60
	MaxParticipants = 1000
)

// Cell is one thing to be taken of each athlete at a station: a measure on a side, an item of the
// checklist, or the check-in.
type Cell struct {
	Step  int    `json:"step"`
	About string `json:"about"` // measure or item; check_in
	Side  Side   `json:"side"`
}

// CheckInCell is what the cell of a check-in is about.
const CheckInCell = "check_in"

// Cells lists what is taken of an athlete at a station, in order; left stands before right whichever
// is measured first.
func (p *Protocol) Cells(s *Station) []Cell {
	var out []Cell
	for i, st := range s.Steps {
		switch st.Kind {
		case StepCheckIn:
			out = append(out, Cell{i, CheckInCell, NoSide})
		case StepChecklist:
			for _, id := range p.ItemIDs() {
				out = append(out, Cell{i, id, NoSide})
			}
		case StepMeasure:
			if m := p.Measure(st.Measure); m != nil && m.Paired {
				out = append(out, Cell{i, m.ID, Left}, Cell{i, m.ID, Right})
			} else if m != nil {
				out = append(out, Cell{i, m.ID, NoSide})
			}
		}
	}
	return out
}

// TrialsAt is how many trials a step asks for on each side.
func (p *Protocol) TrialsAt(s *Step) int {
	m := p.Measure(s.Measure)
	switch {
	case m == nil:
		return 0
	case s.Trials > 0:
		return s.Trials
	}
	return m.Trials.Planned
}

// NewDay is a screening day as the protocol proposes it: its stations with no codes yet, the throwing
// side first, and every fifth athlete measured twice.
func (p *Protocol) NewDay() Day {
	d := Day{Kind: Preseason, SideOrder: ThrowingFirst, Every: 5}
	for _, plan := range p.plan() {
		st := Station{Name: plan.Name}
		for _, id := range plan.Takes {
			st.Steps = append(st.Steps, stepFor(id))
		}
		if len(st.Steps) > 0 {
			d.Stations = append(d.Stations, st)
		}
	}
	return d
}

// plan is the protocol's stations, or one a link for a protocol that proposes none.
func (p *Protocol) plan() []PlanStation {
	if len(p.Stations) > 0 {
		return p.Stations
	}
	out := []PlanStation{{Name: "Check-in", Takes: []string{string(StepCheckIn)}}}
	for _, l := range p.Links {
		st := PlanStation{Name: l.Name}
		for i := range p.Measures {
			if m := &p.Measures[i]; m.Link == l.ID && m.Derived == nil {
				st.Takes = append(st.Takes, m.ID)
			}
		}
		out = append(out, st)
	}
	if len(p.Checklist) > 0 {
		out = append(out, PlanStation{Name: "Throwing mechanics", Takes: []string{string(StepChecklist)}})
	}
	return out
}

func stepFor(id string) Step {
	if k := StepKind(id); k == StepCheckIn || k == StepChecklist {
		return Step{Kind: k}
	}
	return Step{Kind: StepMeasure, Measure: id}
}

// CheckDay says what is wrong with a screening day.
func (p *Protocol) CheckDay(d *Day, where string) Faults {
	var f Faults
	CheckID(d.ID, join(where, "id"), &f)
	if !d.On.Valid() {
		f.Add(join(where, "on"), "a day such as 2026-02-10", "%q is not a day", string(d.On))
	}
	if !d.Kind.Valid() {
		f.Add(join(where, "kind"), "preseason, in_season or rehab", "unknown occasion %q", clip(string(d.Kind), 40))
	}
	if !d.SideOrder.Valid() {
		f.Add(join(where, "side_order"), "throwing_first, left_first or right_first", "unknown order %q", clip(string(d.SideOrder), 40))
	}
	if d.Every < 0 || d.Every == 1 || d.Every > MaxParticipants {
		f.Add(join(where, "every"), "0 for nobody, or 2 and more: 5 measures every fifth twice", "%d is no such number", d.Every)
	}
	if len(d.Stations) == 0 || len(d.Stations) > MaxStations {
		f.Add(join(where, "stations"), fmt.Sprintf("1 to %d stations", MaxStations), "there are %d", len(d.Stations))
	}
	c := dayChecker{p: p, f: &f, at: map[string]string{}}
	for i := range d.Stations {
		c.station(&d.Stations[i], fmt.Sprintf("%s[%d]", join(where, "stations"), i))
	}
	return f
}

// dayChecker remembers at which station each thing is taken: what is taken at two would be missing at
// one of them for good.
type dayChecker struct {
	p  *Protocol
	f  *Faults
	at map[string]string
}

func (c *dayChecker) station(s *Station, where string) {
	CheckID(s.Code, where+".code", c.f)
	if strings.TrimSpace(s.Name) == "" {
		c.f.Add(where+".name", "what is called out for the station", "the name is missing")
	}
	CheckText(s.Name, MaxNameLen, where+".name", c.f)
	if len(s.Steps) == 0 || len(s.Steps) > MaxSteps {
		c.f.Add(where+".steps", fmt.Sprintf("1 to %d things to take", MaxSteps), "there are %d", len(s.Steps))
	}
	strength := ""
	for i := range s.Steps {
		at := fmt.Sprintf("%s.steps[%d]", where, i)
		c.step(&s.Steps[i], s.Name, at)
		m := c.p.Measure(s.Steps[i].Measure)
		switch {
		case m == nil:
		case m.isStrength():
			strength = m.Name
		case m.Unit == "deg" && strength != "":
			c.f.Add(at, "put range before strength", "%s comes after %s: effort changes the range that is measured after it", m.Name, strength)
		}
	}
}

// isStrength says of a measure that it is an effort against resistance.
func (m *Measure) isStrength() bool { return m.Unit == "N" || m.Unit == "kg" }

func (c *dayChecker) step(s *Step, station, at string) {
	key := s.Measure
	switch s.Kind {
	case StepCheckIn, StepChecklist:
		key = string(s.Kind)
	case StepMeasure:
		m := c.p.Measure(s.Measure)
		switch {
		case m == nil:
			c.f.Add(at+".measure", nearWords(s.Measure, c.p.MeasureIDs()), "unknown measure %q", clip(s.Measure, 60))
		case m.Derived != nil:
			c.f.Add(at+".measure", "name the measures that it is worked out from", "%s is worked out, not measured", m.Name)
		case s.Trials < 0 || s.Trials > m.Trials.Most:
			c.f.Add(at+".trials", fmt.Sprintf("1 to %d, or 0 for the %d that the protocol plans", m.Trials.Most, m.Trials.Planned), "%s cannot take %d trials", m.Name, s.Trials)
		}
	default:
		c.f.Add(at+".kind", "check_in, measure or checklist", "unknown step %q", clip(string(s.Kind), 40))
		return
	}
	if other, twice := c.at[key]; twice {
		c.f.Add(at, "take it at one station; for a second measurement choose who is measured twice", "%s is taken at %s already", key, other)
	}
	c.at[key] = station
}

// Role is what a side is to an athlete: throwing or non-throwing arm, lead or trail leg. It is empty
// where no arm throws or both do, and for NoSide.
func (m *Measure) Role(side Side, hand Hand, throws bool) string {
	if !throws || hand != LeftHand && hand != RightHand || side == NoSide {
		return ""
	}
	same := Side(hand) == side
	switch {
	case m.Limb == Leg && same:
		return "trail"
	case m.Limb == Leg:
		return "lead"
	case same:
		return "throwing"
	}
	return "non-throwing"
}

// FirstSide is the side that is measured first.
func (o SideOrder) FirstSide(hand Hand, throws bool) Side {
	switch {
	case o == LeftFirst, o == ThrowingFirst && throws && hand == LeftHand:
		return Left
	}
	return Right
}
