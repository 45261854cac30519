package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// foundTooFew is below how many of 100 true deficits found a rule is not worth its reading; it is the
// mark of the protocol's own check.
const foundTooFew = 20

// notWorth says why the measure's rules on a side difference can do nothing with the standard error
// given, on the scale of comparison; "" if one can, or if there is none. other reports that the measure
// serves for something else too: a rule on one side, or another measure that is computed from it.
func (t *table) notWorth(se float64) (why string, other bool) {
	var all []string
	works := false
	for i := range t.p.Rules {
		r := &t.p.Rules[i]
		switch {
		case r.Measure != t.m.ID:
		case r.Kind == screen.SideDifference || r.Kind == screen.SidePercent:
			text := t.ruleFails(r, se)
			works = works || text == ""
			all = append(all, text)
		default:
			other = true
		}
	}
	for i := range t.p.Measures {
		if d := t.p.Measures[i].Derived; d != nil && (d.Sum[t.m.ID] != 0 || d.Per[t.m.ID] != 0) {
			other = true
		}
	}
	if works {
		return "", other
	}
	return strings.Join(all, " "), other
}

// ruleFails says why no threshold of the rule can work; "" if one can.
func (t *table) ruleFails(r *screen.Rule, se float64) string {
	text := ""
	for i := range r.Thresholds {
		x := &r.Thresholds[i]
		tau, unit := x.Value, x.Unit
		if r.Kind == screen.SidePercent {
			tau = -math.Log1p(-tau / 100)
		}
		within := size(1.96*se*t.perCent(), t.unit())
		if !r.Signed && se >= 0.78*tau { // then even no difference at all leaves P above 0.20
			text = fmt.Sprintf("A side difference is only known to within %s, so that its limit of %s could never be called clear.", within, size(x.Value, unit))
			continue
		}
		found, known := t.found(r, x, tau, se)
		if !known || found >= foundTooFew {
			return ""
		}
		text = fmt.Sprintf("A side difference is only known to within %s: of 100 athletes truly beyond the limit of %s %s would be found.", within, size(x.Value, unit), about(found))
	}
	return text
}

func about(n float64) string {
	if n < 1 {
		return "hardly one"
	}
	return fmt.Sprintf("about %.0f", n)
}

// found is how many of 100 athletes whose true difference is beyond tau would be called a deficit: the
// measured difference must be so large that both the measurement and what is known of such athletes say
// so with the protocol's probability. known is false without a prior.
func (t *table) found(r *screen.Rule, x *screen.Threshold, tau, se float64) (found float64, known bool) {
	s := subject(x)
	mu, omega, known := t.m.PriorFor(&s)
	if !known || omega <= 0 {
		return 0, false
	}
	z := stat.Quantile(t.p.Cutoffs.Deficit)
	one := func(mu float64) (found, true_ float64) {
		w := omega * omega / (omega*omega + se*se)
		cut := max(tau+z*se, mu+(tau+z*math.Sqrt(w)*se-mu)/w)
		seen := math.Hypot(omega, se)
		return stat.UpperOrthant((tau-mu)/omega, (cut-mu)/seen, omega/seen), stat.Above(tau, mu, omega)
	}
	both, all := one(mu)
	if !r.Signed {
		b, a := one(-mu)
		both, all = both+b, all+a
	}
	if all <= 1e-12 {
		return 0, false
	}
	return 100 * both / all, true
}

// subject is an athlete for whom the threshold is meant.
func subject(x *screen.Threshold) screen.Subject {
	s := screen.Subject{Age: 17, Sex: screen.Male, Level: screen.School, Sport: "baseball", Profile: "overhead_throwing", Throws: true}
	if x.When.AgeFrom != nil {
		s.Age = *x.When.AgeFrom
	}
	if x.When.AgeBelow != nil && s.Age >= *x.When.AgeBelow {
		s.Age = *x.When.AgeBelow - 0.01
	}
	if x.When.Sex != "" {
		s.Sex = x.When.Sex
	}
	return s
}

// floorNote adds what one examiner's readings mean for a squad held against a floor or a ceiling, where
// a rule of that kind looks at the measure.
func (m *Measure) floorNote(t *table) {
	fixed := func(r screen.Rule) bool {
		return r.Measure == t.m.ID && (r.Kind == screen.Floor || r.Kind == screen.Ceiling || r.Kind == screen.RatioFloor)
	}
	if !slices.ContainsFunc(t.p.Rules, fixed) {
		return
	}
	for i := range m.Components {
		switch c := &m.Components[i]; {
		case c.ID != componentIDs[ofExaminer]:
		case c.Pooled == 0:
			m.Notes = append(m.Notes, "One examiner read all: held against a fixed limit, the whole squad’s values could all be off by as much as this examiner differs from others, and no figure for that is known.")
		default:
			m.Notes = append(m.Notes, fmt.Sprintf("One examiner read all: held against a fixed limit, the whole squad’s values could all be off by ± %s (twice the standard deviation between examiners).", size(2*c.Pooled, t.unit())))
		}
	}
}
