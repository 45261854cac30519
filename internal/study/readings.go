package study

import (
	"cmp"
	"math"
	"slices"

	"evenhand/internal/screen"
)

// placed is one reading on the scale on which the measure is compared: the natural logarithm for one
// with an error in percent.
type placed struct {
	athlete, examiner string
	side              screen.Side
	day               screen.Date
	y                 float64 // mean of the trials
	value             float64 // the trials combined as scoring combines them
	k                 int     // trials
	ss                float64 // Σ (trial − y)²
	terms             []term  // of a derived measure: what it was computed from
}

// term is one reading that a derived value was computed from: c times the mean of k trials of measure m.
type term struct {
	m, k int
	c    float64
}

// table is the readings of one measure, by athlete, side and day; those of one day in the order in
// which they were given.
type table struct {
	p       *screen.Protocol
	index   int
	m       *screen.Measure
	log     bool
	list    []placed
	targets []target // of list
}

// target is one side of one athlete: list[from:to], whose value all its readings are of. The two sides
// of a pooled measure (limb length) are two targets: that they differ is no error of reading.
type target struct{ from, to int }

// gatherer keeps the tables, so that those of derived measures are built once.
type gatherer struct {
	p      *screen.Protocol
	tables []*table
	counts left
}

// left is what could not be used.
type left struct{ unknown, bad int }

func gather(p *screen.Protocol, readings []Reading) *gatherer {
	g := &gatherer{p: p, tables: make([]*table, len(p.Measures))}
	by := make([][]int, len(p.Measures))
	for i := range readings {
		m := p.MeasureIndex(readings[i].Measure)
		if m < 0 || p.Measures[m].Derived != nil {
			g.counts.unknown++
			continue
		}
		by[m] = append(by[m], i)
	}
	for m := range by {
		if len(by[m]) == 0 {
			continue
		}
		t := &table{p: p, index: m, m: &p.Measures[m], log: p.Measures[m].Scale == screen.Log}
		for _, i := range by[m] {
			t.add(&readings[i], &g.counts)
		}
		t.sort()
		g.tables[m] = t
	}
	return g
}

// add takes a reading in, if all of its trials are numbers.
func (t *table) add(r *Reading, counts *left) {
	x := placed{athlete: r.Athlete, examiner: r.Examiner, side: r.Side, day: r.Occasion, k: len(r.Trials)}
	values := make([]float64, x.k)
	for i, v := range r.Trials {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			counts.bad++
			return
		}
		if t.log {
			v = math.Log(max(v, t.m.LogFloor, 1e-9))
		}
		values[i] = v
		x.y += (v - x.y) / float64(i+1)
	}
	if x.k == 0 {
		counts.bad++
		return
	}
	for _, v := range values {
		x.ss += (v - x.y) * (v - x.y)
	}
	x.value = combined(t.m, values, x.y)
	t.list = append(t.list, x)
}

// combined is the value of a reading. Best-of values keep the expected excess of the best trial: both
// readings of a pair have it.
func combined(m *screen.Measure, values []float64, mean float64) float64 {
	switch m.Trials.Combine {
	case screen.Median:
		slices.Sort(values)
		n := len(values)
		return (values[n/2] + values[(n-1)/2]) / 2
	case screen.Best:
		if m.Worse == "higher" {
			return slices.Min(values)
		}
		return slices.Max(values)
	}
	return mean
}

func (t *table) sort() {
	slices.SortStableFunc(t.list, func(a, b placed) int {
		return cmp.Or(cmp.Compare(a.athlete, b.athlete), cmp.Compare(a.side, b.side), cmp.Compare(a.day, b.day))
	})
	t.targets = t.targets[:0]
	for i := range t.list {
		if i == 0 || t.list[i].athlete != t.list[i-1].athlete || t.list[i].side != t.list[i-1].side {
			t.targets = append(t.targets, target{i, i})
		}
		t.targets[len(t.targets)-1].to = i + 1
	}
}

// repeated is the part of the table that belongs to athletes of whom some side was read again.
func (t *table) repeated() *table {
	again := map[string]bool{}
	for _, x := range t.targets {
		if x.to-x.from > 1 {
			again[t.list[x.from].athlete] = true
		}
	}
	out := *t
	out.list, out.targets = nil, nil
	for i := range t.list {
		if again[t.list[i].athlete] {
			out.list = append(out.list, t.list[i])
		}
	}
	out.sort()
	return &out
}

// termsOf is what a reading is the sum of: itself, or the parts of a derived one.
func (t *table) termsOf(x *placed) []term {
	if x.terms != nil {
		return x.terms
	}
	return []term{{m: t.index, k: x.k, c: 1}}
}

// athletes is how many there are.
func (t *table) athletes() int {
	n := 0
	for i := range t.list {
		if i == 0 || t.list[i].athlete != t.list[i-1].athlete {
			n++
		}
	}
	return n
}

// examiners are those who read, by name.
func (t *table) examiners() []string {
	var out []string
	for i := range t.list {
		if !slices.Contains(out, t.list[i].examiner) {
			out = append(out, t.list[i].examiner)
		}
	}
	slices.Sort(out)
	return out
}

// perCent is what a figure of the scale of comparison is shown as: differences of logarithms times 100
// are symmetric percent (Cole TJ. Stat Med 2000;19:3109-3125).
func (t *table) perCent() float64 {
	if t.log {
		return 100
	}
	return 1
}

// natural is a value of the scale of comparison in the measure's unit.
func (t *table) natural(y float64) float64 {
	if t.log {
		return math.Exp(min(y, 300))
	}
	return y
}
