package score

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenhand/internal/screen"
)

// The sources of a comparison's variance.
const (
	fromTrials = iota
	fromPlacing
	fromStep
	fromDay
	fromExaminer
	errorSources
)

// breakdown is the variance of a weighted sum of readings by where it comes from: for each measure and
// in total, on the scale of the sum.
type breakdown struct {
	measures []int
	each     [][errorSources]float64
	total    [errorSources]float64
}

func (b *breakdown) sum() (v float64) {
	for _, x := range b.total {
		v += x
	}
	return v
}

// breakDown takes a sum's variance apart. With bⱼ the weight of reading j in it, it is Σ bⱼ²σ_w²g(kⱼ) +
// Σ bⱼ²σ_p² + σ_d² Σ_side (Σ bⱼ)² + σ_e² Σ_examiner (Σ bⱼ)², and the rounding of what is read in steps:
// it adds up to the variance that generalised least squares gives.
func (x *explainer) breakDown() breakdown {
	out := breakdown{measures: x.measures()}
	for _, m := range out.measures {
		var c [2]float64
		for i := range x.l.n {
			if t := &x.l.t[i]; int(t.m) == m {
				c[t.side] += t.c
			}
		}
		v := x.w.sumVariance(m, c, x.opt)
		for k := range v {
			v[k] *= x.by * x.by
			out.total[k] += v[k]
		}
		out.each = append(out.each, v)
	}
	return out
}

// sumVariance is the variance of c[0]·left + c[1]·right of one measure, by its sources.
func (w *work) sumVariance(measure int, c [2]float64, opt Options) (v [errorSources]float64) {
	r := &w.s.p.Measures[measure].Resolved
	bySide, byExaminer := [2]float64{}, map[string]float64{}
	var examiners []string // in order, so that sums are the same each time
	all := w.weigh(measure, opt)
	for i := range all {
		x := &all[i]
		b := c[0]*x.weight[0] + c[1]*x.weight[1]
		v[fromTrials] += b * b * x.trial
		v[fromPlacing] += b * b * x.placing
		v[fromStep] += b * b * x.rounding
		bySide[x.side] += b
		if _, ok := byExaminer[x.examiner]; !ok {
			examiners = append(examiners, x.examiner)
		}
		byExaminer[x.examiner] += b
	}
	for _, b := range bySide {
		v[fromDay] += r.Day * r.Day * b * b
	}
	for _, name := range examiners {
		v[fromExaminer] += r.Examiner * r.Examiner * byExaminer[name] * byExaminer[name]
	}
	return v
}

// errors is the step that adds up where the error comes from.
func (x *explainer) errors() {
	b := x.breakDown()
	total := b.sum()
	se := math.Sqrt(total)
	var terms []Term
	for source := range errorSources {
		if t, ok := x.errorTerm(&b, source); ok {
			terms = append(terms, t)
		}
	}
	terms = append(terms, given("Together", x.squared(total), total, "the sum"))
	if pair := x.e.c.pair; pair > 0 {
		total *= pair
		se = math.Sqrt(total)
		terms = append(terms, given("By the squad's own repeats of the difference", x.squared(total), total, "times "+fixed(pair, 2)))
	}
	terms = append(terms, result("Standard error", x.on(se), se, "the square root of it"))
	text := "Errors add up as squares: each line is a standard deviation, squared, as it enters here."
	shown := se
	switch {
	case x.r.Kind == screen.SidePercent:
		shown = math.Exp(-math.Abs(x.e.x)) * se
		terms = append(terms, result("Standard error of the percentage", x.inUnit(shown), shown, "times the worse side’s share of the better"))
	case isLog(x.w.s, x.mi):
		shown = x.f.Difference * se / 100
		terms = append(terms, result("Standard error of the value", x.own(shown), shown, "this percentage of it"))
	}
	terms = append(terms, result("Give or take", x.inUnit(1.96*shown), 1.96*shown, "1.96 standard errors: 95 of 100 measurements lie that close to the truth"))
	if x.f.Bound {
		text += " No day-to-day error is known for this measure: the error is a lower bound."
	}
	text += x.errorFrom(b.measures)
	title := "The error of the value"
	if x.twoSided() {
		title = "The error of the difference"
	}
	x.step(title, text, terms...)
}

// errorFrom names the sources of the published or own errors, each once.
func (x *explainer) errorFrom(measures []int) string {
	var out []string
	for _, m := range measures {
		if source := x.w.s.p.Measures[m].Resolved.Source; source != "" && !slices.Contains(out, source) {
			out = append(out, source)
		}
	}
	if len(out) == 0 {
		return ""
	}
	return " Where it comes from: " + strings.Join(out, "; ") + "."
}

var sourceNames = [errorSources]string{"From trial to trial", "From placing to placing", "From the step that is read", "From day to day", "From examiner to examiner"}

// errorTerm is one source of variance; ok is false where there is nothing to say of it.
func (x *explainer) errorTerm(b *breakdown, source int) (Term, bool) {
	known := false
	for _, m := range b.measures {
		known = known || spread(&x.w.s.p.Measures[m], source) > 0
	}
	if !known && b.total[source] == 0 {
		return Term{}, false
	}
	var notes []string
	for k, m := range b.measures {
		note := x.sourceNote(&x.w.s.p.Measures[m], m, source)
		switch {
		case len(b.measures) > 1 && spread(&x.w.s.p.Measures[m], source) == 0 && b.each[k][source] == 0:
			continue
		case len(b.measures) > 2:
			note = lowerName(x.w.s.p.Measures[m].Name) + ": " + x.squared(b.each[k][source])
		case len(b.measures) == 2:
			note = lowerName(x.w.s.p.Measures[m].Name) + ": " + x.squared(b.each[k][source]) + map[bool]string{true: ", " + note, false: ""}[note != ""]
		}
		if note != "" {
			notes = append(notes, note)
		}
	}
	if source == fromExaminer {
		notes = append(notes, x.examinerNote(b.total[source]))
	}
	return given(sourceNames[source], x.squared(b.total[source]), b.total[source], strings.Join(notes, "; ")), true
}

// spread is the standard deviation that a measure's protocol gives for a source.
func spread(m *screen.Measure, source int) float64 {
	e := &m.Resolved
	return [errorSources]float64{e.Trial, e.Placing, 0, e.Day, e.Examiner}[source]
}

// sourceNote says what one reading has of a source.
func (x *explainer) sourceNote(m *screen.Measure, at, source int) string {
	if source == fromStep {
		return "a step of g adds g²/12 to each reading"
	}
	sd := deviation(m, spread(m, source))
	if source != fromTrials {
		return sd + " each time"
	}
	var counts []string
	for _, side := range []int{x.first, 1 - x.first} {
		if n := x.w.est[at].trials[side]; n > 0 && x.needs(at, side) {
			counts = append(counts, fmt.Sprint(n))
		}
	}
	trials := " trials"
	if len(counts) == 1 && counts[0] == "1" {
		trials = " trial"
	}
	return sd + " a trial, " + join(counts) + trials
}

// examinerNote says why the examiner's part is as large as it is.
func (x *explainer) examinerNote(variance float64) string {
	switch {
	case !x.twoSided():
		return "another examiner would read it otherwise"
	case variance < 1e-9:
		return "the same examiner read both sides: what is read too high is too high on both, and cancels"
	case x.oneExaminer():
		return "the examiners are not the same on both sides to the same weight"
	}
	return "different examiners read the two sides, so it does not cancel"
}

func (x *explainer) oneExaminer() bool {
	for _, m := range x.measures() {
		if x.w.est[m].shared > 0 {
			return true
		}
	}
	return false
}
