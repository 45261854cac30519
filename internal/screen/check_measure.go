package screen

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// setDefaults fills what a measure may leave out.
func (m *Measure) setDefaults() {
	if m.Scale == "" {
		m.Scale = Linear
	}
	if m.Trials.Combine == "" {
		m.Trials.Combine = Mean
	}
	if m.Trials.Planned == 0 {
		m.Trials.Planned = 1
	}
	if m.Trials.Most == 0 {
		m.Trials.Most = 10
	}
	if m.SayWords == nil && m.Derived == nil && len(m.Plausible) == 2 && m.Plausible[0] < 0 {
		m.SayWords = &SayWords{Positive: "above zero", Negative: "below zero", Zero: "zero"} // nobody calls out a minus
	}
	if m.Derived != nil && m.Derived.Factor == 0 {
		m.Derived.Factor = 1
	}
}

func (v *validator) measure(m *Measure) {
	bad := func(field, want, problem string, args ...any) {
		v.fault("measures", m.ID, field, want, problem, args...)
	}
	if v.p.Link(m.Link) == nil {
		bad("link", "one of the protocol's links", "unknown link %q", m.Link)
	}
	if m.Name == "" {
		bad("name", "give its name", "name is missing")
	}
	v.words(m)
	if !slices.Contains(units, m.Unit) {
		bad("unit", "one of: "+strings.Join(units, ", "), "unknown unit %q", m.Unit)
	}
	if !oneOf(m.Worse, "lower", "higher", "neither") {
		bad("worse", "lower, higher or neither", "worse is %q", m.Worse)
	}
	if m.Paired && !oneOf(m.Limb, Arm, Leg, Turn) {
		bad("limb", "arm, leg or turn", "a paired measure needs a limb; it has %q", m.Limb)
	}
	if !oneOf(m.Scale, Linear, Log, Count, Category) {
		bad("scale", "linear, log, count or category", "unknown scale %q", m.Scale)
	}
	v.trials(m, bad)
	v.ranges(m, bad)
	if m.Derived != nil {
		v.derived(m, bad)
	} else if m.Scale == Linear || m.Scale == Log {
		v.errors(m, bad)
	}
	for i := range m.Priors {
		if m.Priors[i].SD <= 0 || m.Priors[i].PaperSE < 0 {
			bad(fmt.Sprintf("priors[%d]", i), "an SD above 0", "the SD is %g", m.Priors[i].SD)
		}
	}
	if m.Scale == Category && len(m.Categories) < 2 {
		bad("categories", "name at least two", "categories are missing")
	}
}

type badFunc func(field, want, problem string, args ...any)

func (v *validator) trials(m *Measure, bad badFunc) {
	t := m.Trials
	if t.Planned < 1 || t.Most < t.Planned || t.Most > 20 {
		bad("trials", "1 ≤ planned ≤ most ≤ 20", "planned %d, most %d", t.Planned, t.Most)
	}
	if !oneOf(t.Combine, Mean, Median, Best) {
		bad("trials.combine", "mean, median or best", "unknown combination %q", t.Combine)
	}
	if t.Combine == Best && (t.Most != t.Planned || t.Planned > 6) {
		bad("trials", "a best-of measure fixes its trials: most equals planned, 6 at most", "planned %d, most %d", t.Planned, t.Most)
	}
	if t.Combine == Median && t.Most > 5 {
		bad("trials.most", "a median takes 1, 3 or 5 trials", "most is %d", t.Most)
	}
}

func (v *validator) ranges(m *Measure, bad badFunc) {
	if m.Derived != nil {
		return
	}
	if m.Scale == Category {
		return
	}
	if len(m.Plausible) != 2 || m.Plausible[0] >= m.Plausible[1] {
		bad("plausible", "[least, most] in the measure's unit", "the plausible range is missing or empty")
		return
	}
	if m.Typical != nil && (len(m.Typical) != 2 || m.Typical[0] < m.Plausible[0] || m.Typical[1] > m.Plausible[1] || m.Typical[0] >= m.Typical[1]) {
		bad("typical", "[least, most] within the plausible range", "the typical range is %v", m.Typical)
	}
	if !m.RangeFrom.valid() {
		bad("range_status", "seen, memory, common_practice or assumed", "the ranges do not say how well they are known")
	}
	if m.Scale == Log && m.Plausible[0] <= 0 && m.LogFloor <= 0 {
		bad("log_floor", "a smallest value above 0", "a log scale cannot hold 0")
	}
}

func (v *validator) errors(m *Measure, bad badFunc) {
	e := m.Error
	if e.Trial == nil || e.Trial.Value <= 0 {
		bad("error.trial", "the SD from trial to trial, in the measure's unit (percent on the log scale)", "the error from trial to trial is missing")
	}
	if e.Within == nil && e.Between == nil {
		bad("error", "give within or between: sem, mdc90 or mdc95", "the error of measurement is missing")
	}
	for i, p := range []*PublishedError{e.Within, e.Between} {
		if p == nil {
			continue
		}
		field := [...]string{"error.within", "error.between"}[i]
		given := 0
		for _, x := range []float64{p.SEM, p.MDC90, p.MDC95} {
			if x > 0 {
				given++
			} else if x < 0 {
				given = 9
			}
		}
		if given != 1 {
			bad(field, "exactly one of sem, mdc90, mdc95, above 0", "%s does not state one error", field)
		}
	}
	if e.Transfer < 0 || e.Transfer > 5 {
		bad("error.transfer", "1 for the squad's own error, 1.25 else", "transfer is %g", e.Transfer)
	}
}

func (v *validator) derived(m *Measure, bad badFunc) {
	check := func(field string, parts map[string]float64) {
		for _, id := range sortedKeys(parts) {
			q := v.p.Measure(id)
			switch {
			case q == nil:
				bad("derived."+field, nearWords(id, v.p.MeasureIDs()), "is computed from the unknown measure %q", id)
			case q.Derived != nil && m.Derived.Per == nil && q.Derived.Per != nil:
				bad("derived."+field, "sums of readings, or one quotient of sums", "is computed from %q, which is itself a quotient", id)
			case q.Scale == Count || q.Scale == Category:
				bad("derived."+field, "measures on a linear or log scale", "is computed from %q, which is a count or a category", id)
			case parts[id] == 0 || math.IsNaN(parts[id]) || math.IsInf(parts[id], 0):
				bad("derived."+field, "a factor other than 0", "has the factor %g for %q", parts[id], id)
			}
		}
	}
	check("sum", m.Derived.Sum)
	check("per", m.Derived.Per)
	if v.hasLog(m) && (!onlyOne(m.Derived.Sum) || !onlyOne(m.Derived.Per)) {
		bad("derived", "one measure over another, each times 1", "sums measures whose error is in percent")
	}
	if n := len(m.Derived.Sum) + len(m.Derived.Per); n > 8 {
		bad("derived", "at most 8 parts", "has %d parts", n)
	}
	if len(m.Derived.Sum) == 0 {
		bad("derived.sum", "the measures that it is the sum of", "is derived from nothing")
	}
}

// cycles finds measures that are computed, over others, from themselves.
func (v *validator) cycles() {
	state := map[string]int{} // 1: on the path, 2: done
	var path []string
	var visit func(id string)
	visit = func(id string) {
		m := v.p.Measure(id)
		if m == nil || m.Derived == nil || state[id] == 2 {
			return
		}
		if state[id] == 1 {
			loop := slices.Concat(path[slices.Index(path, id):], []string{id})
			v.fault("measures", id, "derived", "compute each from measures that are read", "is computed from itself: %s", strings.Join(loop, " → "))
			return
		}
		state[id] = 1
		path = append(path, id)
		for _, part := range []map[string]float64{m.Derived.Sum, m.Derived.Per} {
			for _, k := range sortedKeys(part) {
				visit(k)
			}
		}
		path = path[:len(path)-1]
		state[id] = 2
	}
	for i := range v.p.Measures {
		visit(v.p.Measures[i].ID)
	}
}

func (v *validator) hasLog(m *Measure) bool {
	for _, id := range m.Derived.parts() {
		if q := v.p.Measure(id); q != nil && q.Scale == Log {
			return true
		}
	}
	return false
}

// onlyOne reports whether there is a single part, times 1.
func onlyOne(parts map[string]float64) bool {
	for _, c := range parts {
		return len(parts) == 1 && c == 1
	}
	return false
}

// words checks the words for values on either side of zero.
func (v *validator) words(m *Measure) {
	if w := m.SayWords; w != nil && (w.Positive == "" || w.Negative == "" || w.Zero == "" || w.Positive == w.Negative) {
		v.fault("measures", m.ID, "say", "say: {positive: …, negative: …, zero: …}, three different words", "the words for values above, below and at zero are not all there")
	}
}
