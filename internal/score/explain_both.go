package score

import "math"

// parts are the conditions of a rule of two.
func (x *explainer) parts() (out []Part) {
	for _, f := range x.partFindings() {
		out = append(out, Part{f.Rule, f.Name, f.Verdict})
	}
	return out
}

func (x *explainer) partFindings() (out []*Finding) {
	for _, id := range x.f.Parts {
		for i := range x.w.out.Findings {
			if f := &x.w.out.Findings[i]; f.Rule == id {
				out = append(out, f)
				break
			}
		}
	}
	return out
}

// conditions shows both conditions with their numbers.
func (x *explainer) conditions() {
	var terms []Term
	for _, f := range x.partFindings() {
		c := &explainer{w: x.w, m: x.w.s.p.Measure(f.Measure), r: &x.w.s.rules[x.w.s.p.RuleIndex(f.Rule)], f: *f}
		size := f.Difference
		if f.Kind == "absolute" {
			size = math.Abs(size)
		}
		terms = append(terms,
			given(f.Name, c.own(size), size, "give or take "+c.own(1.96*f.SE)+", threshold "+c.limit(f.Threshold)),
			given("By the measurement alone", OutOf100(f.PMeasured), f.PMeasured, ""),
			given("With what is known", OutOf100(f.P), f.P, string(f.Verdict)))
	}
	x.step("The two conditions", "This finding asks for two things at once, on the same side. Each is worked out by itself first; how is shown on a page of its own.", terms...)
}

// together is how the two conditions hang together, and the probability of both.
func (x *explainer) together() {
	list := x.partFindings()
	text := "Both are computed from the same readings, so they are not independent: an error in a reading moves both. The probability that both hold is added up over the joint distribution of the two true differences, not multiplied. What is known of such athletes enters by the measures that are read, not by their sums, so a condition on a sum can stand a little differently here than by itself."
	var terms []Term
	j := x.w.newJoint()
	if j.both(x.r) && len(j.clauses) > 0 {
		a, b := &j.clauses[0].H[0], &j.clauses[0].H[1]
		_, va := j.measured.Linear(&a.C)
		_, vb := j.measured.Linear(&b.C)
		sum := *a
		for k := range sum.C {
			sum.C[k] += b.C[k]
		}
		_, vs := j.measured.Linear(&sum.C)
		if va > 0 && vb > 0 {
			rho := (vs - va - vb) / (2 * math.Sqrt(va*vb))
			terms = append(terms, given("Correlation of the two errors", fixed(rho, 2), rho, "from the readings that both contain"))
		}
	}
	product := list[0].P * list[1].P
	terms = append(terms, given("Multiplied as if independent", OutOf100(product), product, "for comparison; not used"),
		probability("Both, by the measurement alone", x.e.pm, ""), probability("Both, with what is known", x.e.pk, ""))
	x.step("Both together", text, terms...)
}
