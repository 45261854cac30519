package score

import (
	"math"

	"evenhand/internal/screen"
)

// Score scores one record. The report shares no memory with the record but strings.
func (s *Scorer) Score(rec *screen.Record, opt Options) *Report {
	w, _ := s.pool.Get().(*work)
	if w == nil {
		w = &work{}
	}
	w.begin(s, rec, opt)
	for i := range s.rules {
		w.rule(i)
	}
	for l := range s.p.Links {
		w.link(l)
	}
	w.noted()
	w.notes(opt.Squad)
	out := w.out
	clear(w.squad)
	w.out, w.rec, w.floats, w.chances = nil, nil, nil, nil
	s.pool.Put(w)
	return out
}

// begin makes the memory of an earlier score ready for another one.
func (w *work) begin(s *Scorer, rec *screen.Record, opt Options) {
	w.s, w.rec = s, rec
	w.subject = s.p.SubjectOn(&rec.Athlete, rec.Screen.On)
	hand := rec.Athlete.HandOn(rec.Screen.On)
	w.d = sidesFor(hand, &w.subject)
	w.useSquad(opt.Squad)
	w.conds = cleared(w.conds, len(s.rules))
	w.out = &Report{Protocol: s.ref, Screen: rec.Screen.ID, Athlete: rec.Athlete.ID, On: rec.Screen.On,
		Kind: rec.Screen.Kind, Hand: hand, Sides: w.d.named, Age: w.subject.Age, Referral: []string{},
		Findings: make([]Finding, 0, s.most), Links: make([]LinkResult, 0, len(s.p.Links)), worst: math.Inf(-1)}
	w.estimates(opt)
}

// pointer keeps a number of the report in memory that all its numbers share.
func (w *work) pointer(x float64) *float64 {
	if len(w.floats) == cap(w.floats) {
		w.floats = make([]float64, 0, 96)
	}
	w.floats = append(w.floats, x)
	return &w.floats[len(w.floats)-1]
}

// rule evaluates one rule and appends its findings.
func (w *work) rule(i int) {
	r := &w.s.rules[i]
	t, ok := w.applies(i)
	if !ok {
		return
	}
	switch r.Kind {
	case screen.SideDifference, screen.SidePercent:
		w.twoSided(i, t)
	case screen.Floor, screen.Ceiling, screen.RatioFloor:
		w.oneSided(i, t)
	case screen.AllOf:
		w.both(i)
	}
}

// twoSided is a difference of sides.
func (w *work) twoSided(i, t int) {
	r := &w.s.rules[i]
	th := &r.Thresholds[t]
	e := w.evaluate(w.compare(r, th.Value, 0))
	if !e.ok {
		w.missing(r)
		return
	}
	f := w.add(i, t, &e)
	m := &w.s.p.Measures[r.m]
	first := w.d.first(w.firstPart(r.m))
	f.First, f.Second = w.shown(r.m, first), w.shown(r.m, 1-first)
	f.FirstSE, f.SecondSE = w.sideSE(r.m, first, f.First), w.sideSE(r.m, 1-first, f.Second)
	f.Worse = worseSide(e.x, first)
	k := 2 * t
	if r.signed(w.d) {
		k++
		f.Worse = worseSide(1, first) // a signed rule is about the throwing side, whatever it has more of
	}
	target := r.targets[k]
	if r.Kind == screen.SidePercent {
		f.Difference, f.SE = percentBelow(e.x), 100*math.Exp(-math.Abs(e.x))*e.se
		f.Margin = [2]float64{percentBelow(e.x - 1.645*e.se), percentBelow(e.x + 1.645*e.se)}
		target.Value = percentBelow(target.Value)
	}
	w.setTarget(f, m, target, e.x)
	w.conds[i] = e
}

// percentBelow is by how many percent of the better side the worse side is below it, for a difference
// of logarithms; negative if the first side is the better one. Mirror images differ in sign only.
func percentBelow(x float64) float64 {
	return math.Copysign(100*-math.Expm1(-math.Abs(x)), x)
}

// firstPart is a measure that is read, whose limb maps the sides of m.
func (w *work) firstPart(m int) *screen.Measure { return &w.s.p.Measures[w.s.sums[m][0].m] }

func worseSide(x float64, first int) string {
	if x < 0 {
		first = 1 - first
	}
	return [...]string{"left", "right"}[first]
}

// shown is a measure's value on a side in its own unit.
func (w *work) shown(m, side int) float64 {
	l := w.s.valueOf(w.s.sums[m], side, 1)
	v := l.value(w.est)
	if per := w.s.pers[m]; per != nil {
		l = w.s.valueOf(per, side, 1)
		if isLog(w.s, m) {
			v -= l.value(w.est)
		} else {
			v = v / l.value(w.est) * w.s.p.Measures[m].Derived.Factor
		}
	}
	if isLog(w.s, m) {
		v = math.Exp(v)
		if d := w.s.p.Measures[m].Derived; d != nil {
			v *= d.Factor
		}
	}
	return v
}

// sideSE is the standard error of one side's value as it is shown, without what one examiner adds to
// both sides alike: the squares of both sides' errors add up to that of the difference.
func (w *work) sideSE(m, side int, value float64) float64 {
	v := 0.0
	for _, q := range w.s.sums[m] {
		cov := &w.est[q.m].cov
		v += q.c * q.c * (cov[side][side] - cov[0][1])
	}
	se := math.Sqrt(max(0, v)) * widened(w.s.p.Measures[m].Resolved.Pair)
	if isLog(w.s, m) {
		return value * se
	}
	return se
}

// setTarget writes the target and the reading of the worse side that it amounts to.
func (w *work) setTarget(f *Finding, m *screen.Measure, t Target, x float64) {
	if !t.OK {
		f.TargetBy = targetCannot
		return
	}
	f.Target = w.pointer(t.Value)
	if f.Verdict == Clear {
		return
	}
	other, sign := f.Second, worseSign(m)
	if x < 0 && f.Kind == "absolute" { // the first side is the better one
		other = f.First
	}
	v := other - sign*t.Value
	if f.RuleKind == screen.SidePercent {
		v = other * (1 - sign*t.Value/100)
	}
	if m.Step > 0 {
		v = math.Round(v/m.Step) * m.Step
	}
	f.Reading = w.pointer(v)
}

// oneSided applies a floor, ceiling or ratio to the sides that the rule names.
func (w *work) oneSided(i, t int) {
	r := &w.s.rules[i]
	m := &w.s.p.Measures[r.m]
	tau := r.Thresholds[t].Value
	any := false
	var buf [2]int
	for _, side := range w.sidesOf(&buf, r, m) {
		var e evaluated
		if m.Scale == screen.Count {
			e = w.count(r.m, side, tau)
		} else {
			e = w.evaluate(w.compare(r, tau, side))
		}
		if !e.ok {
			continue
		}
		any = true
		f := w.add(i, t, &e)
		f.Side, f.Role = w.sideName(m, side)
		f.Difference = w.shown(r.m, side)
		if m.Scale == screen.Count {
			f.Difference = e.x // of all trials, as its probability, and not the mean of readings
		}
		f.SE = w.shownSE(r, &e, side, f.Difference)
		f.First, f.FirstSE = f.Difference, f.SE
		f.Margin = w.shownMargin(r.m, f.Difference, f.SE)
		if m.Scale == screen.Count {
			f.Prior, f.Chance, f.Advice = w.countPrior(m), nil, ""
			f.Reason = reasonUndecided
			if f.Verdict != Unsettled {
				f.Reason = reasonAgree
			}
		}
	}
	if !any {
		w.missing(r)
	}
}

// shownSE is the standard error on the scale on which the value is shown.
func (w *work) shownSE(r *rule, e *evaluated, side int, value float64) float64 {
	switch {
	case isLog(w.s, r.m):
		return value * e.se
	case r.Kind == screen.RatioFloor:
		// first order: the SD of dividend − ratio·divisor, over the divisor
		f := w.s.p.Measures[r.m].Derived.Factor
		l := w.s.plus(w.s.valueOf(w.s.sums[r.m], side, f), w.s.pers[r.m], side, -value)
		per := w.s.valueOf(w.s.pers[r.m], side, 1)
		return l.se(w.est) / math.Abs(per.value(w.est))
	}
	return e.se
}

// shownMargin is the value ± 1.645 standard errors, on the log scale for log measures and quotients.
func (w *work) shownMargin(m int, value, se float64) [2]float64 {
	if (isLog(w.s, m) || w.s.pers[m] != nil) && value > 0 {
		k := math.Exp(1.645 * se / value)
		return [2]float64{value / k, value * k}
	}
	return [2]float64{value - 1.645*se, value + 1.645*se}
}

// sidesOf lists, in buf, the sides that a one-sided rule looks at. Where sides are only compared, each
// is.
func (w *work) sidesOf(buf *[2]int, r *rule, m *screen.Measure) []int {
	first := w.d.first(w.firstPart(r.m))
	switch {
	case !m.Paired:
		return buf[:1]
	case r.Side == "each" || !w.d.named:
		*buf = [2]int{first, 1 - first}
		return buf[:]
	}
	isArm := w.firstPart(r.m).Limb != screen.Leg
	opposite := r.Side == "other" || r.Side == "trail"
	if isArm == (r.Side == "lead" || r.Side == "trail") { // a leg asked for by the arm's word, or the reverse
		opposite = !opposite
	}
	buf[0] = first
	if opposite {
		buf[0] = 1 - first
	}
	return buf[:1]
}

func (w *work) sideName(m *screen.Measure, side int) (screen.Side, string) {
	if !m.Paired {
		return screen.NoSide, ""
	}
	name := [...]screen.Side{screen.Left, screen.Right}[side]
	if !w.d.named {
		return name, ""
	}
	roles := [...]string{"throwing", "other"}
	if m.Limb == screen.Leg {
		roles = [...]string{"lead", "trail"}
	}
	if side == w.d.first(m) {
		return name, roles[0]
	}
	return name, roles[1]
}

func (w *work) countPrior(m *screen.Measure) string {
	if w.group(m) != nil {
		return "protocol"
	}
	return "none"
}

// missing notes a core rule that was not measured.
func (w *work) missing(r *rule) {
	if r.Core {
		w.out.CoreRules++
		w.out.unmeasure = append(w.out.unmeasure, r.ID)
	}
}

// add appends a finding with what every rule has in common, and counts it.
func (w *work) add(i, t int, e *evaluated) *Finding {
	r := &w.s.rules[i]
	w.out.Findings = append(w.out.Findings, Finding{
		Rule: r.ID, Name: r.Name, Link: r.Link, Measure: r.Measure, RuleKind: r.Kind, Kind: "absolute",
		Difference: e.x, SE: e.se, PMeasured: e.pm, P: e.pk, Prior: "none",
		PostMean: e.postMean, PostSD: e.postSD, Verdict: e.verdict, Reason: w.s.reason(e),
		Counted: r.Counted, Core: r.Core, scale: e.se, tau: e.c.tau,
	})
	f := &w.out.Findings[len(w.out.Findings)-1]
	e.finding = len(w.out.Findings) - 1
	if !e.c.absolute {
		f.Kind = "signed"
	}
	if e.c.prior {
		f.Prior, f.PriorMean, f.PriorSD, f.scale = "protocol", e.c.mu, e.c.omega, e.c.omega
	}
	if e.c.squad != nil {
		f.Prior, w.out.SquadOn = "squad", w.squadOn
	}
	if t >= 0 {
		f.Threshold, f.Unit, f.Source = r.Thresholds[t].Value, r.Thresholds[t].Unit, r.sources[t]
		f.AtSwitch = w.atSwitch(r, t, e)
	}
	if r.m >= 0 {
		res := w.firstPart(r.m).Resolved
		f.Error, f.Bound = res.Source, res.LowerBound
	}
	f.Margin = [2]float64{e.x - 1.645*e.se, e.x + 1.645*e.se}
	if e.verdict == Unsettled && w.s.p.Measures[max(r.m, 0)].Scale != screen.Count && r.Kind != screen.AllOf {
		f.Chance = w.settle(e)
		f.Advice = f.Chance.advice()
	}
	if e.verdict == Deficit && r.Kind != screen.AllOf {
		f.Advice = adviceDeficit
		if r.OnDeficit != "" {
			f.Advice = r.OnDeficit
		}
	}
	w.tally(r, f)
	return f
}

// tally counts a finding for the triage.
func (w *work) tally(r *rule, f *Finding) {
	if r.Core && (len(w.out.Findings) < 2 || w.out.Findings[len(w.out.Findings)-2].Rule != r.ID) {
		w.out.CoreRules++
		w.out.CoreMeasured++
	}
	if !r.Counted {
		return
	}
	w.out.countedP += f.P
	w.out.countedN++
	if f.scale > 0 {
		lead := f.PostMean
		if f.Kind == "absolute" {
			lead = math.Abs(lead)
		}
		w.out.worst = max(w.out.worst, (lead-f.tau)/f.scale)
	}
}

// atSwitch is the verdict by the threshold of the neighbouring age band, within a year of the switch.
func (w *work) atSwitch(r *rule, t int, e *evaluated) *AtSwitch {
	if r.m < 0 || w.s.p.Measures[r.m].Scale == screen.Count || len(r.Thresholds) < 2 {
		return nil
	}
	for _, years := range [...]float64{-1, 1} {
		near := w.subject
		near.Age += years
		o := r.threshold(&near)
		if o < 0 || r.Thresholds[o].Value == r.Thresholds[t].Value {
			continue
		}
		c := e.c
		c.tau = w.compare(r, r.Thresholds[o].Value, 0).tau
		a := AtSwitch{Threshold: r.Thresholds[o].Value, PMeasured: c.probability(e.x, e.se)}
		_, _, a.P = c.weighed(e.x, e.se)
		a.Verdict = w.s.verdict(a.PMeasured, a.P)
		return &a
	}
	return nil
}
