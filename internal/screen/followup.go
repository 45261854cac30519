package screen

import "slices"

// Figure is a number of the protocol with where it comes from.
type Figure struct {
	Value  float64 `yaml:"value" json:"value"`
	Status Status  `yaml:"status" json:"status"`
	Source string  `yaml:"source" json:"source,omitempty"`
	Note   string  `yaml:"note" json:"note,omitempty"`
}

// FollowUp says how deficits are followed. A protocol without it proposes no re-screen date and draws
// no trend.
type FollowUp struct {
	IntervalDays      Figure `yaml:"interval_days" json:"interval_days"`             // no re-screen before
	LatestDays        Figure `yaml:"latest_days" json:"latest_days"`                 // re-screen by then, even if a change could not be told from error yet
	SecondReadingDays Figure `yaml:"second_reading_days" json:"second_reading_days"` // a visit within that many days of the screen is its second reading, the baseline
	BackDays          Figure `yaml:"back_days" json:"back_days"`                     // for so long after a clearance an athlete is just back from injury
	FadeWeeks         Figure `yaml:"fade_weeks" json:"fade_weeks"`                   // Λ: over so many weeks a pace of change fades to 1/e
	Paces             []Pace `yaml:"paces" json:"paces"`                             // √S by unit
}

// Pace is the usual pace of change of a true side difference in a week, in a unit: the standard
// deviation of the slope. For measures on the log scale it is that in "%".
type Pace struct {
	Unit   string  `yaml:"unit" json:"unit"`
	Value  float64 `yaml:"value" json:"value"`
	Status Status  `yaml:"status" json:"status"`
	Source string  `yaml:"source" json:"source,omitempty"`
	Note   string  `yaml:"note" json:"note,omitempty"`
}

// Known reports whether the protocol says how deficits are followed.
func (f *FollowUp) Known() bool { return f.IntervalDays.Value > 0 }

// Pace is the usual pace of change of a measure's true side difference: the standard deviation of its
// slope a week, on the scale on which the measure is compared (of the natural logarithm for log
// measures). ok is false if the protocol does not know it.
func (p *Protocol) Pace(m *Measure) (perWeek float64, ok bool) {
	unit, factor := m.Unit, 1.0
	switch m.Scale {
	case Log:
		unit, factor = "%", 0.01
	case Linear:
	default:
		return 0, false
	}
	i := slices.IndexFunc(p.FollowUp.Paces, func(x Pace) bool { return x.Unit == unit })
	if i < 0 || p.FollowUp.FadeWeeks.Value <= 0 {
		return 0, false
	}
	return p.FollowUp.Paces[i].Value * factor, true
}

// WithErrors is a copy of the protocol whose measures have the errors given, by measure, on the scale on
// which they are compared. Name, version and hash stay: a score made with it names the errors' source.
func (p *Protocol) WithErrors(errors map[string]Error) *Protocol {
	out := *p
	out.Measures = slices.Clone(p.Measures)
	for i := range out.Measures {
		if e, ok := errors[out.Measures[i].ID]; ok {
			out.Measures[i].Resolved = e
		}
	}
	return &out
}

// followUp checks the block, if there is one.
func (v *validator) followUp() {
	f := &v.p.FollowUp
	if !f.Known() && len(f.Paces) == 0 {
		return
	}
	positive := func(field string, x float64) {
		if !(x > 0 && x <= 3660) {
			v.fault("follow_up", v.p.Name, field, "a number above 0", "%s is %g", field, x)
		}
	}
	positive("interval_days", f.IntervalDays.Value)
	positive("latest_days", f.LatestDays.Value)
	positive("second_reading_days", f.SecondReadingDays.Value)
	positive("back_days", f.BackDays.Value)
	positive("fade_weeks", f.FadeWeeks.Value)
	if f.LatestDays.Value < f.IntervalDays.Value {
		v.fault("follow_up", v.p.Name, "latest_days", "no fewer than interval_days", "latest_days is below interval_days")
	}
	seen := map[string]bool{}
	for i := range f.Paces {
		x := &f.Paces[i]
		if !slices.Contains(units, x.Unit) || seen[x.Unit] {
			v.fault("follow_up", v.p.Name, "paces", "each unit of the protocol once", "the unit %q is unknown or stands twice", x.Unit)
		}
		seen[x.Unit] = true
		positive("paces", x.Value)
	}
}
