package screen

import (
	"math"
	"slices"
)

// lookups are built once when a protocol is sealed, so that scoring never searches lists.
type lookups struct {
	measures, rules, links, sports, symptoms, items map[string]int
}

func (p *Protocol) index() {
	p.look = &lookups{
		measures: indexOf(p.Measures, func(x *Measure) string { return x.ID }),
		rules:    indexOf(p.Rules, func(x *Rule) string { return x.ID }),
		links:    indexOf(p.Links, func(x *Link) string { return x.ID }),
		sports:   indexOf(p.Sports, func(x *Sport) string { return x.ID }),
		symptoms: indexOf(p.Symptoms, func(x *SymptomDef) string { return x.ID }),
		items:    indexOf(p.Checklist, func(x *ChecklistItem) string { return x.ID }),
	}
}

func indexOf[T any](list []T, id func(*T) string) map[string]int {
	m := make(map[string]int, len(list))
	for i := range list {
		m[id(&list[i])] = i
	}
	return m
}

// MeasureIndex is the place of a measure in Measures, -1 if there is none of that id.
func (p *Protocol) MeasureIndex(id string) int { return find(p.look.measures, id) }

// RuleIndex is the place of a rule in Rules, -1 if there is none of that id.
func (p *Protocol) RuleIndex(id string) int { return find(p.look.rules, id) }

// LinkIndex is the place of a link in Links, -1 if there is none of that id.
func (p *Protocol) LinkIndex(id string) int { return find(p.look.links, id) }

func find(m map[string]int, id string) int {
	if i, ok := m[id]; ok {
		return i
	}
	return -1
}

// linkIndex searches the list itself: it serves before the protocol is indexed.
func (p *Protocol) linkIndex(id string) int {
	return slices.IndexFunc(p.Links, func(l Link) bool { return l.ID == id })
}

// Measure is the measure of that id, nil if there is none.
func (p *Protocol) Measure(id string) *Measure { return at(p.Measures, p.MeasureIndex(id)) }

// Rule is the rule of that id, nil if there is none.
func (p *Protocol) Rule(id string) *Rule { return at(p.Rules, p.RuleIndex(id)) }

// Link is the link of that id, nil if there is none.
func (p *Protocol) Link(id string) *Link { return at(p.Links, p.LinkIndex(id)) }

// Sport is the sport of that id, nil if there is none.
func (p *Protocol) Sport(id string) *Sport { return at(p.Sports, find(p.look.sports, id)) }

// Symptom is the symptom of that id, nil if there is none.
func (p *Protocol) Symptom(id string) *SymptomDef { return at(p.Symptoms, find(p.look.symptoms, id)) }

// Item is the checklist item of that id, nil if there is none.
func (p *Protocol) Item(id string) *ChecklistItem { return at(p.Checklist, find(p.look.items, id)) }

func at[T any](list []T, i int) *T {
	if i < 0 {
		return nil
	}
	return &list[i]
}

// MeasureIDs lists the ids of all measures, in protocol order.
func (p *Protocol) MeasureIDs() []string {
	return ids(p.Measures, func(m *Measure) string { return m.ID })
}

// SportIDs lists the ids of all sports.
func (p *Protocol) SportIDs() []string { return ids(p.Sports, func(s *Sport) string { return s.ID }) }

// SymptomIDs lists the ids of all symptoms.
func (p *Protocol) SymptomIDs() []string {
	return ids(p.Symptoms, func(s *SymptomDef) string { return s.ID })
}

// ItemIDs lists the ids of all checklist items.
func (p *Protocol) ItemIDs() []string {
	return ids(p.Checklist, func(c *ChecklistItem) string { return c.ID })
}

func ids[T any](list []T, id func(*T) string) []string {
	out := make([]string, len(list))
	for i := range list {
		out[i] = id(&list[i])
	}
	return out
}

// NameAndVersion is how a protocol is cited.
func (p *Protocol) NameAndVersion() string { return p.Name + " " + p.Version }

// Cite is the reference of a source id, "" if there is none.
func (p *Protocol) Cite(id string) string { return p.Sources[id].Cite }

// SubjectOn is what conditions are asked about: the athlete on a day.
func (p *Protocol) SubjectOn(a *Athlete, on Date) Subject {
	s := Subject{Age: a.Born.YearsTo(on), Sex: a.Sex, Level: a.Level, Sport: a.Sport, Positions: a.Positions}
	if sp := p.Sport(a.Sport); sp != nil {
		s.Profile, s.ArmsBear, s.Throws = sp.Profile, sp.ArmsBearLoad, sp.Throws
	}
	return s
}

// Holds reports whether the condition is met by the subject.
func (w *When) Holds(s *Subject) bool {
	switch {
	case w.AgeFrom != nil && s.Age < *w.AgeFrom,
		w.AgeBelow != nil && s.Age >= *w.AgeBelow,
		w.Sex != "" && s.Sex != w.Sex,
		len(w.Levels) > 0 && !slices.Contains(w.Levels, s.Level),
		len(w.Sports) > 0 && !slices.Contains(w.Sports, s.Sport),
		w.Profile != "" && s.Profile != w.Profile,
		w.ArmsBearLoad != nil && s.ArmsBear != *w.ArmsBearLoad:
		return false
	}
	if len(w.Positions) == 0 {
		return true
	}
	return slices.ContainsFunc(s.Positions, func(x string) bool { return slices.Contains(w.Positions, x) })
}

// PriorFor is what the protocol knows of the true side difference of the measure in such athletes:
// mean and SD after the paper's own measurement error is taken off. ok is false if nothing is known
// or if what is left of the SD is below half of it (a quarter of its square).
func (m *Measure) PriorFor(s *Subject) (mean, sd float64, ok bool) {
	for i := range m.Priors {
		if p := &m.Priors[i]; p.When.Holds(s) {
			return p.trueSpread()
		}
	}
	return 0, 0, false
}

// trueSpread takes the paper's measurement error off the published spread.
func (p *Prior) trueSpread() (mean, sd float64, ok bool) {
	v := p.SD*p.SD - p.PaperSE*p.PaperSE
	if v < p.SD*p.SD/4 {
		return 0, 0, false
	}
	return p.Mean, math.Sqrt(v), true
}
