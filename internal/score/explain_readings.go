package score

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"

	"evenhand/internal/screen"
)

// weighed is a reading with its part in the estimates of its measure.
type weighed struct {
	r        *screen.Reading
	side     int
	group    int    // readings of a side by one examiner
	examiner string // "": not named
	y        float64
	trial    float64 // σ_w²·g(k)
	placing  float64
	rounding float64
	share    float64    // within its group
	weight   [2]float64 // in the estimate of either side
}

// weigh gives the current readings of a measure with the weights that estimate gave them: within a
// group by 1/v, between groups (X'V⁻¹X)⁻¹X'V⁻¹.
func (w *work) weigh(measure int, opt Options) []weighed {
	m := &w.s.p.Measures[measure]
	var out []weighed
	w.groups = w.groups[:0]
	for at := w.heads[measure]; at > 0; at = w.next[at-1] {
		r := &w.rec.Readings[at-1]
		x := weighed{r: r, side: sideIndex(m, r.Side), examiner: r.Examiner, placing: m.Resolved.Placing * m.Resolved.Placing}
		if x.examiner == "" {
			x.examiner = w.rec.Screen.Examiner
		}
		y, g := combined(m, r.Trials)
		v := placedVariance(m, r, g, opt)
		x.y, x.trial, x.share = y, m.Resolved.Trial*m.Resolved.Trial*g, 1/v
		if rest := v - x.trial - x.placing; rest > 1e-9 {
			x.rounding = rest
		}
		group := w.groupOf(x.side, x.examiner)
		group.sum += y / v
		group.w += 1 / v
		for k := range w.groups {
			if &w.groups[k] == group {
				x.group = k
			}
		}
		out = append(out, x)
	}
	a := w.groupWeights(measure)
	for i := range out {
		x := &out[i]
		x.share /= w.groups[x.group].w
		for side := range 2 {
			x.weight[side] = x.share * a[side][x.group]
		}
	}
	return out
}

// groupWeights are the weights of the groups of readings in the estimate of either side.
func (w *work) groupWeights(measure int) [2][]float64 {
	r, e, n := &w.s.p.Measures[measure].Resolved, &w.est[measure], len(w.groups)
	out := [2][]float64{make([]float64, n), make([]float64, n)}
	if n == 0 {
		return out
	}
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v.SetSym(i, j, w.groups[i].covariance(&w.groups[j], i == j, r.Day*r.Day, r.Examiner*r.Examiner))
		}
	}
	var c mat.Cholesky
	c.Factorize(v)
	var inv mat.SymDense
	_ = c.InverseTo(&inv) // as in manyEquations
	for side := range 2 {
		for g := range n {
			for h := range n {
				out[side][g] += e.cov[side][w.groups[h].side] * inv.At(h, g)
			}
		}
	}
	return out
}

// measures lists what the finding is computed from, each once.
func (x *explainer) measures() (out []int) {
	seen := map[int]bool{}
	for i := range x.l.n {
		if m := int(x.l.t[i].m); !seen[m] {
			seen[m] = true
			out = append(out, m)
		}
	}
	return out
}

// readings is the first step: what was read, and how it became one value a side.
func (x *explainer) readings() {
	var terms []Term
	list := x.measures()
	text, left := []string{}, 0
	said := map[string]bool{}
	for _, m := range list {
		terms = append(terms, x.readingsOf(m, len(list) > 1)...)
		for _, words := range x.trialWords(m) {
			if !said[words] {
				said[words] = true
				text = append(text, words)
			}
		}
		left += x.notUsed(m)
	}
	if left == 1 {
		text = append(text, "One reading that was corrected or taken back is not used.")
	} else if left > 1 {
		text = append(text, fixed(float64(left), 0)+" readings that were corrected or taken back are not used.")
	}
	x.step("The readings", strings.Join(text, " "), terms...)
}

func (x *explainer) notUsed(m int) (n int) {
	for i := range x.w.rec.Readings {
		if r := &x.w.rec.Readings[i]; r.Measure == x.w.s.p.Measures[m].ID && !r.Stands() {
			n++
		}
	}
	return n
}

// needs reports whether the finding looks at a side of a measure.
func (x *explainer) needs(m, side int) bool {
	for i := range x.l.n {
		if t := &x.l.t[i]; int(t.m) == m && int(t.side) == side {
			return true
		}
	}
	return false
}

// readingsOf are the readings of one measure, throwing side first, and where a side has several what
// they come to.
func (x *explainer) readingsOf(measure int, several bool) (terms []Term) {
	w, m := x.w, &x.w.s.p.Measures[measure]
	all := w.weigh(measure, x.opt)
	first := w.d.first(m)
	if m.Pooled || !m.Paired {
		first = 0
	}
	for _, side := range []int{first, 1 - first} {
		if !x.needs(measure, side) {
			continue
		}
		label := w.sideWords(m, side)
		if several || label == "" {
			label = strings.TrimSuffix(m.Name+", "+label, ", ")
		}
		n, cross := 0, 0.0
		for i := range all {
			if all[i].side == side {
				n++
			} else {
				cross += all[i].weight[side] * all[i].y
			}
		}
		also := crossed(all, side)
		for i := range all {
			if all[i].side == side {
				terms = append(terms, x.readingTerm(m, &all[i], label, n))
			}
		}
		if n < 2 && !also {
			terms[len(terms)-1].Result = true
			continue
		}
		note := "weighed by their errors"
		if also {
			note += "; what an examiner read on both sides also enters, which moves it by " + valueOn(m, cross, true)
		}
		terms = append(terms, result(label+", together", valueOn(m, w.est[measure].mean[side], false), backFrom(m, w.est[measure].mean[side]), note))
	}
	return terms
}

// crossed reports whether readings of the other side have a part in the estimate of a side.
func crossed(all []weighed, side int) bool {
	for i := range all {
		if all[i].side != side && math.Abs(all[i].weight[side]) > 1e-9 {
			return true
		}
	}
	return false
}

// readingTerm is one reading: its trials, its value, who read it, and what it counts for.
func (x *explainer) readingTerm(m *screen.Measure, r *weighed, label string, n int) Term {
	trials := make([]string, len(r.r.Trials))
	for i, t := range r.r.Trials {
		trials[i] = strings.Replace(plainTrial(t), "-", "−", 1)
	}
	value := valueOn(m, r.y, false)
	if len(trials) > 1 || m.Trials.Combine == screen.Best {
		value = strings.Join(trials, ", ") + " → " + value
	}
	notes := []string{"examiner not named"}
	if r.examiner != "" {
		notes[0] = "by " + r.examiner
	}
	if n > 1 {
		notes = append(notes, "counts "+fixed(100*r.weight[r.side], 0)+" of 100")
	}
	return given(label, value, backFrom(m, r.y), strings.Join(notes, "; "))
}

func plainTrial(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fixed(v, 2), "0"), ".")
}

// backFrom is a value on the measure's own scale in its unit.
func backFrom(m *screen.Measure, y float64) float64 {
	if m.Scale == screen.Log {
		return math.Exp(y)
	}
	return y
}

// valueOn writes a value on the measure's own scale; a change of one on the log scale in percent.
func valueOn(m *screen.Measure, y float64, change bool) string {
	if change && m.Scale == screen.Log {
		return fixed(100*math.Expm1(y), 1) + " %"
	}
	digits := 2
	if m.Step >= 1 {
		digits = 1
	}
	if change {
		return screen.Amount(fixed(y, digits), m.Unit)
	}
	return screen.Amount(fixed(backFrom(m, y), digits), m.Unit)
}

// trialWords says how trials become one value, in sentences.
func (x *explainer) trialWords(measure int) []string {
	m := &x.w.s.p.Measures[measure]
	words := "The trials of a reading are averaged."
	switch m.Trials.Combine {
	case screen.Median:
		words = "Of the trials of a reading the median counts (of more than five the mean)."
	case screen.Best:
		words = "Of the trials of a reading the best counts (of more than six the mean). The best of several is better than the usual by luck: of two trials by 0.56, of three by 0.85 times the spread from trial to trial on average (" +
			deviation(m, m.Resolved.Trial) + "), so that much is taken off."
	}
	if m.Scale == screen.Log {
		return []string{words, "Times and forces have an error in percent, so they are worked with on the scale of natural logarithms: an average there is a geometric mean."}
	}
	return []string{words}
}

// deviation writes a standard deviation of a measure; in percent on the log scale.
func deviation(m *screen.Measure, sd float64) string {
	if m.Scale == screen.Log {
		return fixed(100*sd, 1) + " %"
	}
	return screen.Amount(fixed(sd, 2), m.Unit)
}
