package score

import (
	"evenhand/internal/screen"
)

// both evaluates a rule that asks for two differences at once: the probability that both hold, from
// their joint distribution.
func (w *work) both(i int) {
	r := &w.s.rules[i]
	a, b := &w.conds[r.conds[0]], &w.conds[r.conds[1]]
	if !a.ok || !b.ok {
		w.missing(r)
		return
	}
	j := w.newJoint()
	if !j.both(r) {
		w.missing(r)
		return
	}
	post := j.posterior()
	e := *a
	e.pm, e.pk = 0, 0
	for k := range j.clauses {
		e.pm += j.measured.ProbClause(&j.clauses[k])
		e.pk += post.ProbClause(&j.clauses[k])
	}
	e.verdict = w.s.verdict(e.pm, e.pk)
	f := w.add(i, -1, &e)
	w.describeBoth(f, r, a, b)
	e.finding = len(w.out.Findings) - 1
	w.conds[i] = e
}

// describeBoth shows a two-condition finding by its first condition, and says how the second stands.
func (w *work) describeBoth(f *Finding, r *rule, a, b *evaluated) {
	fa, fb := &w.out.Findings[a.finding], &w.out.Findings[b.finding]
	f.Measure, f.Unit, f.Threshold, f.Parts = fa.Measure, fa.Unit, fa.Threshold, r.AllOf
	f.Worse, f.First, f.Second, f.Error, f.Bound = fa.Worse, fa.First, fa.Second, fa.Error, fa.Bound
	f.FirstSE, f.SecondSE = fa.FirstSE, fa.SecondSE
	f.Source = fa.Source + "; " + fb.Source
	f.Target, f.Reading, f.TargetBy = fa.Target, fa.Reading, fa.TargetBy
	switch {
	case a.verdict == Deficit && b.verdict == Clear:
		f.Reason = reasonExpected
	case a.verdict == Deficit && b.verdict == Unsettled:
		f.Reason = reasonHalf
	}
	if f.Verdict != Unsettled {
		return
	}
	for _, x := range []*Finding{fa, fb} { // what settles the condition that is open
		if x.Verdict == Unsettled && x.Chance != nil {
			f.Advice = "first the condition that is open (" + x.Name + "): " + x.Advice // its chance is not that of both
		}
	}
}

// link works out one link, if it has counted rules for this athlete.
func (w *work) link(l int) {
	j := w.newJoint()
	res := LinkResult{Link: w.s.p.Links[l].ID, Name: w.s.p.Links[l].Name, Verdict: Unsettled}
	counted, measured, core := 0, 0, 0
	for i := range w.s.rules {
		r := &w.s.rules[i]
		if r.link != l || !r.Counted {
			continue
		}
		if _, ok := w.applies(i); !ok {
			continue
		}
		counted++
		if r.Core {
			core++
		}
		if w.findings(r.ID) == 0 {
			if r.Core {
				res.Missing = append(res.Missing, r.ID)
			}
			continue
		}
		measured++
		w.countIn(j, i)
	}
	if counted == 0 {
		return
	}
	if measured > 0 {
		p, usual, known := j.probability()
		res.P = w.pointer(p)
		if known {
			res.PUsual = w.pointer(usual)
		}
	}
	res.Measured = measured > 0 && len(res.Missing) == 0 && (core > 0 || measured == counted)
	res.Partly = measured > 0 && !res.Measured
	res.Verdict = w.linkVerdict(res.Link, core > 0, res.Measured)
	w.out.Links = append(w.out.Links, res)
	w.headline(&res)
}

func (w *work) findings(rule string) int {
	n := 0
	for i := range w.out.Findings {
		if w.out.Findings[i].Rule == rule {
			n++
		}
	}
	return n
}

// countIn adds a measured rule to the link's joint event.
func (w *work) countIn(j *joint, i int) {
	r := &w.s.rules[i]
	switch r.Kind {
	case screen.SideDifference, screen.SidePercent:
		if !j.difference(r, &w.conds[i].c, w.conds[i].pk) {
			j.independent(w.conds[i].pk)
			j.usual = false
		}
	case screen.AllOf:
		if !j.both(r) {
			j.independent(w.conds[i].pk)
			j.usual = false
		}
	default:
		w.countOneSided(j, i)
	}
}

func (w *work) countOneSided(j *joint, i int) {
	r := &w.s.rules[i]
	m := &w.s.p.Measures[r.m]
	t, _ := w.applies(i)
	tau := r.Thresholds[t].Value
	var buf [2]int
	for _, side := range w.sidesOf(&buf, r, m) {
		if m.Scale == screen.Count {
			if e := w.count(r.m, side, tau); e.ok {
				j.independent(e.pk)
				j.usualCount(&e, tau)
			}
			continue
		}
		c := w.compare(r, tau, side)
		if !c.l.measured(w.est) {
			continue
		}
		if !j.value(r.m, side, &c) {
			e := w.evaluate(c)
			j.independent(e.pk)
			j.usual = false
		}
	}
}

func (w *work) linkVerdict(link string, hasCore, measured bool) Verdict {
	v := Clear
	for i := range w.out.Findings {
		f := &w.out.Findings[i]
		if f.Link != link || !f.Counted {
			continue
		}
		if f.Verdict == Deficit {
			return Deficit
		}
		if f.Verdict == Unsettled && (f.Core || !hasCore) {
			v = Unsettled
		}
	}
	if !measured {
		return Unsettled
	}
	return v
}

// headline adds a fully measured link to the counts; a partly measured one is shown, not added.
func (w *work) headline(r *LinkResult) {
	o := w.out
	if !r.Measured {
		return
	}
	o.LinksMeasured++
	switch r.Verdict {
	case Deficit:
		o.LinksDeficit++
	case Clear:
		o.LinksClear++
	default:
		o.LinksUnsettled++
	}
	o.LinksClearExpected += 1 - *r.P
	if r.PUsual == nil {
		return
	}
	o.LinksCompared++
	o.ExpectedCompared += 1 - *r.P
	u := 1 - *r.PUsual
	if o.LinksClearUsual != nil {
		u += *o.LinksClearUsual
	}
	o.LinksClearUsual = w.pointer(u)
}
