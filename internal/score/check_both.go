package score

import (
	"fmt"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// checkBoth works out what a rule of two conditions finds, for each group of athletes that the
// conditions' thresholds and priors distinguish. The true differences come from the joint prior and the
// readings from the error of a planned visit, both by the lattice: no random numbers.
func (s *Scorer) checkBoth(i int) []RuleCheck {
	r := &s.rules[i]
	var out []RuleCheck
	done := map[string]bool{}
	for _, first := range r.conds {
		for _, subject := range s.checkSubjects(&s.rules[first]) {
			w := s.plannedWork(subject)
			if _, ok := w.applies(i); !ok {
				continue
			}
			c := RuleCheck{Rule: r.ID, Name: r.Name, Kind: "signed", Counted: r.Counted, Core: r.Core, Prior: true}
			key := w.describeCheck(r, &c)
			if done[key] {
				continue
			}
			done[key] = true
			if c.Prior {
				w.simulateBoth(r, &c)
				c.mark()
			} else {
				c.Marks = append(c.Marks, MarkNoPrior)
			}
			out = append(out, c)
		}
	}
	return out
}

// plannedWork holds what one planned visit of a right-handed thrower says, without values yet.
func (s *Scorer) plannedWork(subject screen.Subject) *work {
	w := &work{s: s, subject: subject, d: sides{arm: 1, leg: 0, named: true}, conds: make([]evaluated, len(s.rules)), est: make([]sided, len(s.p.Measures))}
	for m := range s.p.Measures {
		w.est[m] = s.planned(m)
		w.est[m].has = [2]bool{true, true}
	}
	return w
}

// describeCheck writes the first condition's threshold and error into c, prepares both conditions, and
// gives a text that tells groups apart.
func (w *work) describeCheck(r *rule, c *RuleCheck) (key string) {
	for k, id := range r.conds {
		x := &w.s.rules[id]
		t, _ := w.applies(id)
		cmp := w.compare(x, x.Thresholds[t].Value, 0)
		w.conds[id] = evaluated{ok: true, c: cmp}
		for _, q := range w.s.sums[x.m] {
			_, _, known := w.s.p.Measures[q.m].PriorFor(&w.subject)
			c.Prior = c.Prior && known
		}
		if k == 0 {
			c.SE, c.Threshold, c.Unit, c.PriorMean, c.PriorSD = x.planned, x.Thresholds[t].Value, x.Thresholds[t].Unit, cmp.mu, cmp.omega
			c.Group = groupWords(&x.Thresholds[t].When, w.s.p.Measures[x.m].Priors, &w.subject)
		}
		key += fmt.Sprint(t, cmp.mu, cmp.omega, ";")
	}
	return key
}

// simulateBoth counts verdicts over the lattice's points.
func (w *work) simulateBoth(r *rule, c *RuleCheck) {
	j := w.newJoint()
	if !j.both(r) {
		return
	}
	j.couple()
	n, prior := j.measured.N, j.prior
	noise := stat.Gauss{N: n, Cov: j.measured.Cov}
	lp, ln := prior.Cholesky(), noise.Cholesky()
	clauses := append([]stat.Clause(nil), j.clauses...)
	var broken, found, missed, points float64
	stat.EachNormalPoint(2*n, func(z []float64) {
		points++
		truth, seen := prior.Mean, [stat.MaxDim]float64{}
		for a := range n {
			e := 0.0
			for b := range a + 1 {
				truth[a] += lp[a][b] * z[b]
				e += ln[a][b] * z[n+b]
			}
			seen[a] = truth[a] + e
		}
		at := stat.Gauss{N: n, Mean: truth}
		if at.ProbAny(clauses) < 0.5 { // without variance: 0 or 1
			return
		}
		broken++
		j.measured.Mean = seen
		post := j.posterior()
		pm, pk := 0.0, 0.0
		for k := range clauses {
			pm += j.measured.ProbClause(&clauses[k])
			pk += post.ProbClause(&clauses[k])
		}
		switch w.s.verdict(pm, pk) {
		case Deficit:
			found++
		case Clear:
			missed++
		}
	})
	c.Exceeded = 100 * broken / points
	if broken > 0 {
		c.Found, c.Missed = 100*found/broken, 100*missed/broken
	}
}
