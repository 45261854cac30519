package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"evenhand/internal/stat"
)

// bias is how each examiner reads compared with the mean of all who read the same athletes, and the
// variance between these examiners less what their own uncertainty adds; ok is false if there are no
// two to compare.
type bias struct {
	list    []Bias
	note    string
	between float64
	ok      bool
}

// biasOf takes the examiners' means from a fit in which each is a fixed effect.
func (t *table) biasOf(f *stat.Fit, d *design, unit string) (b bias) {
	linked, apart := t.linked(d.names)
	switch {
	case len(d.names) < 2:
		b.note = "One examiner read all: nothing can be said of how others would read."
		return b
	case len(linked) < 2:
		b.note = "No two examiners read the same athletes: how they differ cannot be told."
		return b
	case len(apart) > 0:
		b.note = fmt.Sprintf("Left out because they share no athlete with the others: %s.", listed(apart))
	}
	e, readings := float64(len(linked)), t.readingsBy()
	free := max(1, len(t.list)-len(t.targets)-len(linked)+1)
	wide := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(free)}.Quantile(0.975)
	by := t.perCent()
	spread := 0.0
	for _, name := range linked {
		value, v := 0.0, 0.0
		c := make([]float64, len(d.names)) // this one less the mean of all
		for _, other := range linked {
			c[slices.Index(d.names, other)] -= 1 / e
		}
		c[slices.Index(d.names, name)]++
		for i := range c {
			value += c[i] * f.Beta[i]
			for j := range c {
				v += c[i] * c[j] * f.BetaCov[i][j]
			}
		}
		v = max(0, v)
		spread += value*value - v
		half := wide * math.Sqrt(v)
		x := Bias{Examiner: name, Readings: readings[name], Value: by * value, Lo: by * (value - half), Hi: by * (value + half)}
		x.Words = t.biasWords(&x, unit)
		b.list = append(b.list, x)
	}
	b.between, b.ok = max(0, spread/(e-1)), true
	return b
}

func (t *table) readingsBy() map[string]int {
	out := map[string]int{}
	for i := range t.list {
		out[t.list[i].examiner]++
	}
	return out
}

// linked are the examiners who read sides that another of them read too, directly or through others:
// the largest such group, by name; apart are the rest.
func (t *table) linked(names []string) (linked, apart []string) {
	group := make(map[string]string, len(names))
	for _, n := range names {
		group[n] = n
	}
	for _, x := range t.targets {
		for i := x.from + 1; i < x.to; i++ {
			a, b := group[t.list[i].examiner], group[t.list[x.from].examiner]
			for n, g := range group {
				if g == max(a, b) {
					group[n] = min(a, b)
				}
			}
		}
	}
	size := map[string]int{}
	for _, g := range group {
		size[g]++
	}
	best := ""
	for i, n := range names {
		if g := group[n]; i == 0 || size[g] > size[best] {
			best = g
		}
	}
	for _, n := range names {
		if group[n] == best {
			linked = append(linked, n)
		} else {
			apart = append(apart, named(n))
		}
	}
	return linked, apart
}

func (t *table) biasWords(x *Bias, unit string) string {
	who := named(x.Examiner)
	if x.Lo <= 0 && x.Hi >= 0 {
		return fmt.Sprintf("%s: no difference from the mean of all that these readings could show (%s to %s).", who, t.moreOrLess(x.Lo, unit), t.moreOrLess(x.Hi, unit))
	}
	return fmt.Sprintf("%s reads %s than the mean of all (95 in 100: %s to %s).", who, t.moreOrLess(x.Value, unit), t.moreOrLess(x.Lo, unit), t.moreOrLess(x.Hi, unit))
}

// named is an examiner's name; readings without one are taken as one person's.
func named(examiner string) string {
	if examiner == "" {
		return "those not named"
	}
	return examiner
}

func listed(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}
