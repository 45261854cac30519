package score

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenhand/internal/screen"
)

// mostSteps bounds the search for a value at which a verdict changes.
const mostSteps = 2000

// change says what would change the verdict, in at most six sentences.
func (x *explainer) change() []string {
	out := []string{}
	if x.f.Verdict != Clear {
		out = append(out, x.turnSentence(Clear))
	}
	if x.f.Verdict != Deficit {
		out = append(out, x.turnSentence(Deficit))
	}
	for _, s := range []string{x.againSentence(), x.switchSentence(), x.priorSentence(), x.errorSentence()} {
		if s != "" {
			out = append(out, s)
		}
	}
	return out
}

// now is the value that is moved.
func (x *explainer) now() float64 {
	if x.m.Scale == screen.Count {
		return x.w.est[x.mi].counts[x.side]
	}
	return x.w.shown(x.mi, x.side)
}

// turn is the first value of the worse side, in the measure's steps, at which the verdict would be
// want with everything else as it is, found by evaluating each; ok is false if there is none among the
// values that the protocol holds for plausible, nor before the sides are equal.
func (x *explainer) turn(want Verdict) (value float64, ok bool) {
	step := x.stepSize()
	up := x.better() == (want == Clear)
	now := x.now()
	k := math.Floor(now/step + 1e-9)
	if !up {
		k = math.Ceil(now/step - 1e-9)
	}
	for range mostSteps {
		k += map[bool]float64{true: 1, false: -1}[up]
		value = math.Round(k*step*1e6) / 1e6
		if !x.possible(value, want) {
			return 0, false
		}
		if x.verdictAt(value) == want {
			return value, true
		}
	}
	return 0, false
}

// stepSize is what the measure is read to; of a quotient the last digit that is shown.
func (x *explainer) stepSize() float64 {
	if x.m.Step > 0 {
		return x.m.Step
	}
	return math.Pow(10, -float64(x.digits()-1))
}

// better reports whether a higher value of the side that is moved is the better one. Of a difference
// without a known direction the better value is the one nearer to the other side's.
func (x *explainer) better() bool {
	if (x.twoSided() || x.r.Kind == screen.AllOf) && x.f.Kind == "absolute" {
		return x.w.shown(x.mi, 1-x.side) > x.now()
	}
	if x.r.Kind == screen.Ceiling {
		return false
	}
	if x.r.Kind == screen.Floor || x.r.Kind == screen.RatioFloor {
		return true
	}
	return x.m.Worse == "lower"
}

// possible reports whether a value is plausible; where sides are only compared it must not pass the
// other side's either.
func (x *explainer) possible(v float64, want Verdict) bool {
	if len(x.m.Plausible) == 2 && x.m.Scale != screen.Count && (v < x.m.Plausible[0] || v > x.m.Plausible[1]) {
		return false
	}
	if x.m.Scale == screen.Count {
		trials := float64(x.w.est[x.mi].trials[x.side])
		return v >= 0 && (x.m.Cap <= 0 || v <= trials*x.m.Cap)
	}
	if x.f.Kind != "absolute" || !x.twoSided() || want != Clear {
		return v > 0 || x.m.Scale != screen.Log
	}
	other := x.w.shown(x.mi, 1-x.side)
	if x.now() < other {
		return v <= other
	}
	return v >= other
}

// verdictAt is the verdict if the side's value were v, everything else being as it is.
func (x *explainer) verdictAt(v float64) Verdict {
	w := x.w
	if x.m.Scale == screen.Count {
		e := &w.est[x.mi]
		keep := *e
		e.counts[x.side], e.capped[x.side] = v, 0
		if k := e.trials[x.side]; x.m.Cap > 0 && v >= float64(k)*x.m.Cap {
			e.capped[x.side] = k
		}
		out := x.scoreAgain()
		*e = keep
		return out
	}
	q := w.s.sums[x.mi][0]
	at := x.side
	if m := &w.s.p.Measures[q.m]; m.Pooled || !m.Paired {
		at = 0
	}
	mean := &w.est[q.m].mean[at]
	keep := *mean
	*mean += x.shift(v) / q.c
	out := x.scoreAgain()
	*mean = keep
	return out
}

// shift is by how much the sum of readings moves on its own scale when the value becomes v.
func (x *explainer) shift(v float64) float64 {
	now := x.now()
	if isLog(x.w.s, x.mi) {
		return math.Log(v / now)
	}
	if per := x.w.s.pers[x.mi]; per != nil {
		l := x.w.s.valueOf(per, x.side, 1)
		return (v - now) * l.value(x.w.est) / x.m.Derived.Factor
	}
	return v - now
}

// scoreAgain scores the rule, and its conditions, as the estimates stand now.
func (x *explainer) scoreAgain() Verdict {
	w := x.w
	out, conds := w.out, slices.Clone(w.conds)
	w.out = &Report{}
	if x.r.Kind == screen.AllOf {
		w.rule(x.r.conds[0])
		w.rule(x.r.conds[1])
	}
	w.rule(x.i)
	f := w.finding(x.f.Rule, x.f.Side)
	w.out, w.conds = out, conds
	if f == nil {
		return ""
	}
	return f.Verdict
}

// finding is that by a rule and side, nil if there is none.
func (w *work) finding(rule string, side screen.Side) *Finding {
	for i := range w.out.Findings {
		if f := &w.out.Findings[i]; f.Rule == rule && f.Side == side {
			return f
		}
	}
	return nil
}

// turnSentence says from which value on the verdict would be another.
func (x *explainer) turnSentence(want Verdict) string {
	name := map[Verdict]string{Clear: "clear", Deficit: "a deficit"}[want]
	who, rest := x.who(x.side), ", everything else as it is"
	if who != "" {
		who = " on the " + who
	}
	what, unit := lowerName(x.m.Name), x.m.Unit
	if x.m.Scale == screen.Count {
		what = "a count"
		if n := x.w.est[x.mi].trials[x.side]; n > 1 {
			what = fmt.Sprintf("a count over the %d trials together", n)
		}
	}
	at := func(v float64) string { return screen.Amount(plainTrial(v), unit) }
	v, ok := x.turn(want)
	if !ok {
		return fmt.Sprintf("No plausible value of %s%s would make it %s%s.", what, who, name, rest)
	}
	more := map[bool]string{true: "more", false: "less"}[v > x.now()]
	return fmt.Sprintf("It would be %s with %s%s of %s or %s (now %s)%s.", name, what, who, at(v), more, screen.Amount(x.nowWords(), unit), rest)
}

func (x *explainer) nowWords() string {
	if x.m.Scale == screen.Count {
		return plainTrial(x.now())
	}
	return fixed(x.now(), x.digits())
}

// againSentence says what measuring again would do.
func (x *explainer) againSentence() string {
	c := x.f.Chance
	if c == nil || x.f.Verdict != Unsettled {
		return ""
	}
	var ways []string
	if c.MoreTrials != nil {
		ways = append(ways, OutOf100(*c.MoreTrials)+" after three more trials as placed")
	}
	ways = append(ways, OutOf100(c.NewPlacing)+" after placing anew and measuring once more now", OutOf100(c.AnotherDay)+" after measuring on another day")
	return "The chance that measuring again settles it is " + join(ways) + "."
}

// switchSentence says what the neighbouring age's threshold would do.
func (x *explainer) switchSentence() string {
	a := x.f.AtSwitch
	switch {
	case a == nil:
		return ""
	case a.Verdict == x.f.Verdict:
		return fmt.Sprintf("With the threshold of the neighbouring age, %s, it would stay %s (%s).", x.limit(a.Threshold), a.Verdict, OutOf100(a.P))
	}
	return fmt.Sprintf("With the threshold of the neighbouring age, %s, it would be %s (%s).", x.limit(a.Threshold), a.Verdict, OutOf100(a.P))
}

// priorSentence says what leaving out what is known would do, if it would change the verdict.
func (x *explainer) priorSentence() string {
	if x.f.Prior == "none" {
		return ""
	}
	v := x.w.s.verdict(x.f.PMeasured, x.f.PMeasured)
	if v == x.f.Verdict {
		return ""
	}
	return fmt.Sprintf("If what is known of such athletes were left out, it would be %s (%s).", v, OutOf100(x.f.PMeasured))
}

// errorSentence says what another size of the error would do.
func (x *explainer) errorSentence() string {
	if x.m.Scale == screen.Count {
		return ""
	}
	type other struct {
		words string
		by    func(*screen.Measure) screen.Error
	}
	list := []other{
		{"half as large", func(m *screen.Measure) screen.Error { return scaled(m, 0.5, 0.5) }},
		{"twice as large", func(m *screen.Measure) screen.Error { return scaled(m, 2, 2) }},
	}
	if x.widened() {
		list = append([]other{{"as published (not widened for use elsewhere)", func(m *screen.Measure) screen.Error {
			return scaled(m, 1, 1/widening(m))
		}}}, list...)
	}
	kept := ""
	if x.f.Prior == "squad" {
		kept = ", the squad's figures being as they are"
	}
	var turns, names []string
	for _, o := range list {
		f := x.withErrors(o.by)
		names = append(names, o.words)
		if f != nil && f.Verdict != x.f.Verdict {
			turns = append(turns, fmt.Sprintf("%s (%s) if it were %s", f.Verdict, OutOf100(f.P), o.words))
		}
	}
	if len(turns) == 0 {
		return fmt.Sprintf("The verdict would be the same if the error were %s%s.", strings.Replace(join(names), " and ", " or ", 1), kept)
	}
	return "The verdict depends on how large the error is: " + join(turns) + kept + "."
}

// scaled is a measure's error with the trials' part and the rest times a factor.
func scaled(m *screen.Measure, trial, rest float64) screen.Error {
	e := m.Resolved
	e.Trial, e.Placing, e.Day, e.Examiner = e.Trial*trial, e.Placing*rest, e.Day*rest, e.Examiner*rest
	return e
}

// widening is the factor by which the published error was widened; 1 if it was not, or if the error in
// use is not the published one.
func widening(m *screen.Measure) float64 {
	if !strings.Contains(m.Resolved.Source, "widened by") {
		return 1
	}
	if m.Error.Transfer != 0 {
		return m.Error.Transfer
	}
	return screen.DefaultTransfer
}

// errorMeasures are those whose errors the finding contains, conditions included.
func (x *explainer) errorMeasures() []int {
	out := x.measures()
	for _, f := range x.partFindings() {
		for _, q := range x.w.s.sums[x.w.s.p.MeasureIndex(f.Measure)] {
			if !slices.Contains(out, q.m) {
				out = append(out, q.m)
			}
		}
	}
	return out
}

func (x *explainer) widened() bool {
	return slices.ContainsFunc(x.errorMeasures(), func(m int) bool { return widening(&x.w.s.p.Measures[m]) != 1 })
}

// withErrors is the finding as it would be with other errors.
func (x *explainer) withErrors(by func(*screen.Measure) screen.Error) *Finding {
	p := x.w.s.p
	errors := map[string]screen.Error{}
	for _, m := range x.errorMeasures() {
		errors[p.Measures[m].ID] = by(&p.Measures[m])
	}
	w := &work{}
	w.begin(New(p.WithErrors(errors)), x.w.rec, x.opt)
	for i := range w.s.rules {
		w.rule(i)
	}
	return w.finding(x.f.Rule, x.f.Side)
}
