package study

import (
	"fmt"
	"slices"

	"evenhand/internal/stat"
)

// repeats says how often sides were read again, by kind. A day with readings by two examiners, one of
// them twice, is one repeat of either kind.
type repeats struct{ same, other, days int }

func (r repeats) all() int { return r.same + r.other + r.days }

func (t *table) repeats() (out repeats) {
	for _, x := range t.targets {
		days, here := 0, map[string]bool{}
		for i := x.from; i < x.to; i++ {
			r := &t.list[i]
			switch {
			case i == x.from || t.list[i-1].day != r.day:
				days++
				clear(here)
			case here[r.examiner]:
				out.same++
			default:
				out.other++
			}
			here[r.examiner] = true
		}
		out.days += days - 1
	}
	return out
}

// identical reports whether no repeat differs from the first reading.
func (t *table) identical() bool {
	for _, x := range t.targets {
		for i := x.from + 1; i < x.to; i++ {
			if t.list[i].y != t.list[x.from].y {
				return false
			}
		}
	}
	return true
}

// limits compare the first with the second reading of every side.
func (t *table) limits(unit string) *Limits {
	var first, second []float64
	out := &Limits{}
	by := t.perCent()
	for _, x := range t.targets {
		if x.to-x.from < 2 {
			continue
		}
		a, b := &t.list[x.from], &t.list[x.from+1]
		first, second = append(first, by*a.value), append(second, by*b.value)
		out.Points = append(out.Points, Point{Mean: t.natural((a.value + b.value) / 2), Difference: by * (b.value - a.value), Same: a.examiner == b.examiner})
	}
	l, err := stat.LimitsOfAgreement(second, first)
	if err != nil { // fewer than two pairs
		return nil
	}
	out.Limits = l
	out.Words = fmt.Sprintf("Of 100 second readings 95 lie between %s and %s of the first (%d pairs).",
		t.moreOrLess(l.Lower, unit), t.moreOrLess(l.Upper, unit), l.N)
	if l.SD == 0 {
		out.Words = fmt.Sprintf("Every second reading differs from the first by the same: %s (%d pairs).", t.moreOrLess(l.Bias, unit), l.N)
	}
	return out
}

// leastTargets is from how many sides on an intraclass correlation is worked out. Assumed: with fewer
// its interval spans nearly all there is.
const leastTargets = 5

// iccs are the intraclass correlations that the readings support, with words on what they rest on.
func (t *table) iccs() ([]stat.ICC, string) {
	if names, rows := t.byExaminers(); len(rows) >= leastTargets {
		return sixOf(rows, fmt.Sprintf("From the %d sides that were read by each of %s.", len(rows), listed(names)))
	}
	if rows := t.twiceBySame(); len(rows) >= leastTargets {
		return sixOf(rows, fmt.Sprintf("From %d sides, first against second reading by the same examiner: this says nothing of agreement between examiners.", len(rows)))
	}
	rows := t.firstTwo()
	if len(rows) < leastTargets {
		return nil, fmt.Sprintf("No intraclass correlation: it needs %d sides that were read twice, there are %d.", leastTargets, len(rows))
	}
	six, note := sixOf(rows, fmt.Sprintf("From %d sides read twice by examiners that vary from side to side: only the one-way coefficients exist.", len(rows)))
	return slices.DeleteFunc(six, func(c stat.ICC) bool { return c.Name != "ICC(1,1)" && c.Name != "ICC(1,k)" }), note
}

func sixOf(rows [][]float64, note string) ([]stat.ICC, string) {
	out, err := stat.ICCs(rows)
	if err != nil { // no table: callers have seen to two rows and columns
		return nil, "No intraclass correlation: the readings do not form a table."
	}
	return out, note
}

// byExaminers is the first reading of each side by each of the examiners who share the most sides: the
// two that share most, and whoever else read all of theirs.
func (t *table) byExaminers() (names []string, rows [][]float64) {
	all := t.examiners()
	at := make([]map[int]float64, len(all)) // value by target
	for e := range all {
		at[e] = map[int]float64{}
	}
	for k, x := range t.targets {
		for i := x.to - 1; i >= x.from; i-- {
			at[slices.Index(all, t.list[i].examiner)][k] = t.list[i].value
		}
	}
	var best []int
	var chosen []int
	for a := range all {
		for b := a + 1; b < len(all); b++ {
			if s := shared(at[a], at[b], len(t.targets)); len(s) > len(best) {
				best, chosen = s, []int{a, b}
			}
		}
	}
	for c := range all {
		complete := !slices.Contains(chosen, c)
		for _, k := range best {
			_, has := at[c][k]
			complete = complete && has
		}
		if complete && len(best) > 0 {
			chosen = append(chosen, c)
		}
	}
	slices.Sort(chosen)
	for _, c := range chosen {
		names = append(names, named(all[c]))
	}
	for _, k := range best {
		row := make([]float64, len(chosen))
		for j, c := range chosen {
			row[j] = at[c][k]
		}
		rows = append(rows, row)
	}
	return names, rows
}

// shared are the targets that both have.
func shared(a, b map[int]float64, n int) (out []int) {
	for k := range n {
		_, has := a[k]
		if _, too := b[k]; has && too {
			out = append(out, k)
		}
	}
	return out
}

// twiceBySame is, for each side that an examiner read twice, that examiner's first two readings.
func (t *table) twiceBySame() (rows [][]float64) {
	for _, x := range t.targets {
		rows = append(rows, t.firstPair(x, func(a, b *placed) bool { return a.examiner == b.examiner })...)
	}
	return rows
}

func (t *table) firstTwo() (rows [][]float64) {
	for _, x := range t.targets {
		rows = append(rows, t.firstPair(x, func(_, _ *placed) bool { return true })...)
	}
	return rows
}

// firstPair is the values of the first two readings of a target that fit together, as a row.
func (t *table) firstPair(x target, fit func(a, b *placed) bool) [][]float64 {
	for i := x.from; i < x.to; i++ {
		for j := i + 1; j < x.to; j++ {
			if fit(&t.list[i], &t.list[j]) {
				return [][]float64{{t.list[i].value, t.list[j].value}}
			}
		}
	}
	return nil
}
