package study

import (
	"math"
	"slices"

	"evenhand/internal/screen"
)

// placing names readings that belong together: those of one athlete's side on one day by one examiner,
// first with first, second with second.
type placing struct {
	athlete, examiner string
	side              screen.Side
	day               screen.Date
	n                 int
}

// table gives the readings of a measure; those of a derived one are computed from readings of the same
// placing. nil if there are none.
func (g *gatherer) table(m int) *table {
	d := g.p.Measures[m].Derived
	if g.tables[m] != nil || d == nil {
		return g.tables[m]
	}
	t := &table{p: g.p, index: m, m: &g.p.Measures[m]}
	sum, ok := g.parts(d.Sum)
	per, ok2 := g.parts(d.Per)
	if !ok || !ok2 {
		return nil
	}
	t.log = sum[0].t.log
	first := sum[0].t
	seen := map[placing]int{}
	for i := range first.list {
		key := keyOf(&first.list[i], seen)
		if x, ok := t.derive(d, key, sum, per); ok {
			t.list = append(t.list, x)
		}
	}
	if len(t.list) == 0 {
		return nil
	}
	t.sort()
	g.tables[m] = t
	return t
}

// source is a part of a derived measure, with its readings by placing; a pooled one (limb length) by
// athlete, as the mean of all its readings.
type source struct {
	t      *table
	c      float64
	by     map[placing]int
	pooled map[string]float64
}

func (g *gatherer) parts(weights map[string]float64) ([]source, bool) {
	ids := make([]string, 0, len(weights))
	for id := range weights {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	out := make([]source, 0, len(ids))
	for _, id := range ids {
		s := source{t: g.table(g.p.MeasureIndex(id)), c: weights[id]}
		if s.t == nil {
			return nil, false
		}
		s.index()
		out = append(out, s)
	}
	return out, true
}

func (s *source) index() {
	if s.t.m.Pooled {
		s.pooled = map[string]float64{}
		n := map[string]float64{}
		for i := range s.t.list {
			x := &s.t.list[i]
			n[x.athlete]++
			s.pooled[x.athlete] += (x.y - s.pooled[x.athlete]) / n[x.athlete]
		}
		return
	}
	s.by = make(map[placing]int, len(s.t.list))
	seen := map[placing]int{}
	for i := range s.t.list {
		s.by[keyOf(&s.t.list[i], seen)] = i
	}
}

// keyOf numbers the readings of a side, day and examiner as they come.
func keyOf(x *placed, seen map[placing]int) placing {
	key := placing{x.athlete, x.examiner, x.side, x.day, 0}
	seen[key]++
	key.n = seen[key]
	return key
}

// at is the part's value at a placing; an unpaired part has the same on both sides.
func (s *source) at(key placing) (y float64, x *placed, ok bool) {
	if s.pooled != nil {
		y, ok = s.pooled[key.athlete]
		return y, nil, ok
	}
	if !s.t.m.Paired {
		key.side = screen.NoSide
	}
	i, ok := s.by[key]
	if !ok {
		return 0, nil, false
	}
	return s.t.list[i].y, &s.t.list[i], true
}

// derive computes one value: factor · Σ c·y / Σ d·z, or the same of logarithms as scoring takes it,
// Σ c·ln y − Σ d·ln z.
func (t *table) derive(d *screen.Derived, key placing, sum, per []source) (placed, bool) {
	out := placed{athlete: key.athlete, examiner: key.examiner, side: key.side, day: key.day, k: 1}
	top, terms, ok := weighed(sum, key, 1)
	if !ok {
		return out, false
	}
	out.y, out.terms = top, terms
	if len(per) > 0 {
		below, more, ok := weighed(per, key, -1)
		factor := d.Factor
		if factor == 0 {
			factor = 1
		}
		switch {
		case !ok || !t.log && below == 0:
			return out, false
		case t.log:
			out.y += below + math.Log(max(factor, 1e-9))
			out.terms = append(out.terms, more...)
		default: // to first order, the error of the divisor left out where it is the same for all
			out.y = factor * top / -below
			for i := range out.terms {
				out.terms[i].c *= factor / -below
			}
			for _, x := range more {
				x.c *= out.y / -below
				out.terms = append(out.terms, x)
			}
		}
	}
	out.value = out.y
	return out, !math.IsNaN(out.y) && !math.IsInf(out.y, 0)
}

// weighed is sign · Σ c·y over the parts, with what it was computed from.
func weighed(parts []source, key placing, sign float64) (y float64, terms []term, ok bool) {
	for i := range parts {
		s := &parts[i]
		v, x, ok := s.at(key)
		if !ok {
			return 0, nil, false
		}
		y += sign * s.c * v
		if x == nil {
			continue
		}
		for _, part := range s.t.termsOf(x) {
			part.c *= sign * s.c
			terms = append(terms, part)
		}
	}
	return y, terms, true
}
