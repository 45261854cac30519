package score

import (
	"fmt"
	"strings"

	"evenhand/internal/screen"
)

// countReadings is the first step for a count: the trials, added up.
func (x *explainer) countReadings() {
	w := x.w
	e := &w.est[x.mi]
	var terms []Term
	for at := w.heads[x.mi]; at > 0; at = w.next[at-1] {
		r := &w.rec.Readings[at-1]
		if sideIndex(x.m, r.Side) != x.side {
			continue
		}
		trials := make([]string, len(r.Trials))
		for i, t := range r.Trials {
			trials[i] = plainTrial(t)
		}
		by := r.Examiner
		if by == "" {
			by = w.rec.Screen.Examiner
		}
		note := "examiner not named"
		if by != "" {
			note = "by " + by
		}
		terms = append(terms, Term{Label: capital(x.who(x.side)), Value: strings.Join(trials, ", "), Note: note})
	}
	n, k := e.counts[x.side], float64(e.trials[x.side])
	text := "Trials of a count are added up; what is compared is the number in one trial."
	if e.capped[x.side] > 0 {
		text += fmt.Sprintf(" A trial is stopped at %g, so such a trial says only that there were at least so many.", x.m.Cap)
	}
	terms = append(terms, given("Counted", plainTrial(n), n, fmt.Sprintf("in %g %s", k, plural(int(k), "trial", "trials"))),
		result("In one trial", x.own(n/k), n/k, ""))
	x.step("The readings", text, terms...)
	x.step("The error of the value", "A count is not read wrong so much as it falls out differently each time: with the same true rate it scatters as a Poisson distribution, by the square root of the number. No error of measurement is added.",
		result("Standard error", x.own(x.f.SE), x.f.SE, "√"+plainTrial(max(n, 1))+fmt.Sprintf(" ÷ %g", k)))
}

// countAlone is the probability by the count alone.
func (x *explainer) countAlone() {
	e := &x.w.est[x.mi]
	n, k := e.counts[x.side], float64(e.trials[x.side])
	text := "If nothing else is known, the true rate follows a gamma distribution given by the count. The probability is the part of it above the limit."
	if e.capped[x.side] > 0 {
		text = "If nothing else is known, each true rate is as probable as what was seen is with it: the trials below the cap by the Poisson distribution, each trial at the cap by the chance of at least so many. The probability is the part above the limit, added up numerically."
		x.step("By the count alone", text, probability("By the measurement alone", x.e.pm, "a true deficit"))
		return
	}
	x.step("By the count alone", text,
		given("Shape", plainTrial(n+1), n+1, "count + 1"), given("Rate", plainTrial(k), k, "trials"),
		probability("By the measurement alone", (&counted{n: n, k: k}).tail(1, 0, x.f.Threshold), "a true deficit"))
}

// countKnown weighs the count with what is known of the athlete's group.
func (x *explainer) countKnown() {
	const title = "With what is known of such athletes"
	g := x.w.group(x.m)
	if g == nil {
		x.step(title, "The protocol has no figure for such athletes. So the count stands alone.", probability("With what is known", x.f.P, "as by the measurement alone"))
		return
	}
	e := &x.w.est[x.mi]
	n, k := e.counts[x.side], float64(e.trials[x.side])
	shape, rate := g.Mean*g.Mean/(g.SD*g.SD), g.Mean/(g.SD*g.SD)
	source := g.Status.Words()
	if c := x.w.s.p.Cite(g.Source); c != "" {
		source = c + map[bool]string{false: " (" + source + ")"}[g.Status == screen.Seen]
	}
	text := fmt.Sprintf("Such athletes have %g in one trial on average, with a spread of %g between them. That is written as a gamma distribution too; the count is added to it as if it were so much more of the same.", g.Mean, g.SD)
	text += " Source: " + strings.TrimSuffix(strings.TrimSuffix(source+". "+g.Note, " "), ".") + "."
	terms := []Term{given("Mean of such athletes", x.own(g.Mean), g.Mean, ""), given("Their spread", x.own(g.SD), g.SD, "")}
	if e.capped[x.side] > 0 {
		x.step(title, text, append(terms, probability("With what is known", x.e.pk, "a true deficit; added up numerically, for the trials at the cap"))...)
		return
	}
	mean := (shape + n) / (rate + k)
	p := (&counted{n: n, k: k}).tail(shape, rate, x.f.Threshold)
	x.step(title, text, append(terms,
		given("Shape", fixed(shape+n, 2), shape+n, "mean² ÷ spread² + count"), given("Rate", fixed(rate+k, 2), rate+k, "mean ÷ spread² + trials"),
		result("Most likely true rate", x.own(mean), mean, "shape ÷ rate"), probability("With what is known", p, "a true deficit"))...)
}
