package screen

import (
	"fmt"
	"math"
	"strings"
)

var ruleSides = []string{"throwing", "other", "lead", "trail", "each"}

func (v *validator) rule(r *Rule) {
	bad := func(field, want, problem string, args ...any) { v.fault("rules", r.ID, field, want, problem, args...) }
	if v.p.Link(r.Link) == nil {
		bad("link", "one of the protocol's links", "unknown link %q", r.Link)
	}
	if r.Name == "" {
		bad("name", "give its name", "name is missing")
	}
	if r.Core && !r.Counted {
		bad("core", "a core rule is counted", "is core but not counted")
	}
	v.plain(r, bad)
	switch r.Kind {
	case AllOf:
		v.conjunction(r, bad)
	case ChecklistRule, SymptomRule:
		v.uncounted(r, bad)
	case SideDifference, SidePercent, Floor, Ceiling, RatioFloor, RatingRule:
		v.measured(r, bad)
	default:
		bad("kind", "side_difference, side_percent, floor, ceiling, ratio_floor, all_of, rating, checklist or symptom", "unknown kind %q", r.Kind)
	}
}

func (v *validator) uncounted(r *Rule, bad badFunc) {
	switch {
	case r.Kind == ChecklistRule && v.p.Item(r.About) == nil:
		bad("about", nearWords(r.About, v.p.ItemIDs()), "is about the unknown item %q", r.About)
	case r.Kind == SymptomRule && v.p.Symptom(r.About) == nil:
		bad("about", nearWords(r.About, v.p.SymptomIDs()), "is about the unknown symptom %q", r.About)
	}
	if r.Counted {
		bad("counted", "ratings, items and symptoms are listed apart", "a %s rule carries no probability and cannot be counted", r.Kind)
	}
}

func (v *validator) conjunction(r *Rule, bad badFunc) {
	if len(r.AllOf) != 2 {
		bad("all_of", "name two rules", "has %d conditions", len(r.AllOf))
	}
	for i, id := range r.AllOf {
		q := v.p.Rule(id)
		switch {
		case q == nil:
			bad(fmt.Sprintf("all_of[%d]", i), "a rule of the protocol", "unknown rule %q", id)
		case q.Kind != SideDifference || q.Link != r.Link:
			bad(fmt.Sprintf("all_of[%d]", i), "side differences of the same link", "%q cannot be a condition", id)
		case v.p.RuleIndex(id) > v.p.RuleIndex(r.ID):
			bad(fmt.Sprintf("all_of[%d]", i), "write it before the rule that asks for it", "%q stands after the rule", id)
		}
	}
}

// measured checks a rule that compares a measure with a threshold.
func (v *validator) measured(r *Rule, bad badFunc) {
	m := v.p.Measure(r.Measure)
	if m == nil {
		bad("measure", nearWords(r.Measure, v.p.MeasureIDs()), "unknown measure %q", r.Measure)
		return
	}
	if m.Link != r.Link {
		bad("link", "the link of its measure: "+m.Link, "stands at the link %q", r.Link)
	}
	v.ruleForm(r, m, bad)
	if len(r.Thresholds) == 0 {
		bad("thresholds", "give at least one value with unit and status", "has no threshold")
	}
	unit := m.Unit
	if r.Kind == SidePercent {
		unit = "%"
	}
	for i := range r.Thresholds {
		t := &r.Thresholds[i]
		field := fmt.Sprintf("thresholds[%d]", i)
		if t.Unit == "" {
			bad(field, fmt.Sprintf("write unit: %q", unit), "a threshold without a unit")
		} else if t.Unit != unit {
			bad(field+".unit", fmt.Sprintf("%q, as the measure", unit), "the threshold is in %q", t.Unit)
		}
		if r.Kind == SidePercent && !(t.Value > 0 && t.Value < 100) {
			bad(field, "between 0 and 100 %", "the threshold is %g %%", t.Value)
		}
		if !r.Signed && r.Kind == SideDifference && t.Value <= 0 {
			bad(field, "above 0, or a signed rule", "an absolute rule has the threshold %g", t.Value)
		}
	}
}

func (v *validator) ruleForm(r *Rule, m *Measure, bad badFunc) {
	twoSided := r.Kind == SideDifference || r.Kind == SidePercent
	switch {
	case twoSided && !m.Paired:
		bad("measure", "a paired measure", "compares the sides of %q, which has none", m.ID)
	case twoSided && m.Worse == "neither" && r.Signed:
		bad("signed", "say of the measure which value is worse", "is signed, but %q has no worse side", m.ID)
	case twoSided && (m.Scale == Count || m.Scale == Category):
		bad("measure", "a measure on a linear or log scale", "takes a side difference of a %s", m.Scale)
	case r.Kind == SideDifference && (m.Scale == Log || (m.Derived != nil && m.Derived.Per != nil)):
		bad("kind", "side_percent", "takes a plain difference of %q, whose error is in percent", m.ID)
	case r.Kind == SidePercent && m.Scale != Log:
		bad("kind", "side_difference, or scale: log for a measure whose error is in percent", "takes percent of %q, whose error is in its unit", m.ID)
	case (r.Kind == Floor || r.Kind == Ceiling) && m.Derived != nil && m.Derived.Per != nil:
		bad("kind", "ratio_floor", "%q is a quotient", m.ID)
	case r.Kind == RatioFloor && (m.Derived == nil || m.Derived.Per == nil):
		bad("measure", "a derived quotient", "%q is no quotient", m.ID)
	case !twoSided && m.Paired && !oneOf(r.Side, ruleSides...):
		bad("side", "one of: "+strings.Join(ruleSides, ", "), "unknown side %q", r.Side)
	case r.Kind == RatingRule && m.Scale != Category:
		bad("measure", "a rating", "%q is not a rating", m.ID)
	case r.Kind != RatingRule && m.Scale == Category:
		bad("kind", "rating", "%q is a rating and has no error", m.ID)
	}
	if r.Kind == RatingRule {
		v.uncounted(r, bad)
	}
}

// jointPriors refuses a prior of a sum that its parts' priors cannot add up to: the covariance of two
// parts is (ω²_sum − ω²_a − ω²_b)/2, and their correlation must lie between −1 and 1.
func (v *validator) jointPriors() {
	for i := range v.p.Measures {
		m := &v.p.Measures[i]
		if m.Derived == nil || m.Derived.Per != nil || len(m.Derived.Sum) != 2 || len(m.Priors) == 0 {
			continue
		}
		for _, s := range v.subjects(m) {
			if rho, ok := v.p.PartCorrelation(m, &s); ok && math.Abs(rho) >= 1 {
				v.fault("measures", m.ID, "priors", "a smaller or larger SD", "at age %g the prior's SD gives its parts a correlation of %.2f", s.Age, rho)
			}
		}
	}
}

// subjects is one subject for each age at which a prior of m or of its parts switches, and below.
func (v *validator) subjects(m *Measure) []Subject {
	ages := []float64{5, 100}
	add := func(q *Measure) {
		for _, p := range q.Priors {
			for _, a := range []*float64{p.When.AgeFrom, p.When.AgeBelow} {
				if a != nil {
					ages = append(ages, *a, *a-0.01)
				}
			}
		}
	}
	add(m)
	for id := range m.Derived.Sum {
		add(v.p.Measure(id))
	}
	out := make([]Subject, 0, 2*len(ages))
	for _, a := range ages {
		out = append(out, Subject{Age: a, Sex: Male}, Subject{Age: a, Sex: Female})
	}
	return out
}

// PartCorrelation is the correlation of the true side differences of the two measures that m is the
// weighted sum of, as the three priors imply it. ok is false if one of them has none.
func (p *Protocol) PartCorrelation(m *Measure, s *Subject) (rho float64, ok bool) {
	_, sum, ok := m.PriorFor(s)
	if !ok || m.Derived == nil || len(m.Derived.Sum) != 2 {
		return 0, false
	}
	cov, prod := sum*sum, 2.0
	for _, id := range sortedKeys(m.Derived.Sum) {
		_, w, ok := p.Measure(id).PriorFor(s)
		if !ok {
			return 0, false
		}
		c := m.Derived.Sum[id]
		cov -= c * c * w * w
		prod *= c * w
	}
	return cov / prod, true
}

// stations checks the day that the protocol proposes.
func (v *validator) stations() {
	for i := range v.p.Stations {
		if s := &v.p.Stations[i]; !s.Status.valid() {
			v.faults.Add(v.origin["stations"].part.at(fmt.Sprintf("stations[%d]", i)), "seen, memory, common_practice or assumed", "station %s has the status %q", s.Name, string(s.Status))
		}
	}
	if len(v.p.Stations) == 0 {
		return
	}
	d := v.p.NewDay()
	d.ID, d.On = "day", "2026-01-01"
	for i := range d.Stations {
		d.Stations[i].Code = fmt.Sprintf("station%d", i)
	}
	from := v.origin["stations"].part
	for _, f := range v.p.CheckDay(&d, "") {
		f.Where = from.at(strings.Replace(f.Where, ".steps[", ".takes[", 1))
		v.faults = append(v.faults, f)
	}
}
