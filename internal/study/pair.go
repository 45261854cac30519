package study

import (
	"evenhand/internal/screen"
)

// paired is what repeats of a side difference say: the sum of squares of repeated differences, each in
// units of the variance that the measure's error gives, and its degrees of freedom.
type paired struct{ ratio, df float64 }

// factor is by what the variance of a difference differs from what the model gives, pooled with 1 by
// degrees of freedom; 0 for fewer than EnoughRepeats.
func (p paired) factor() float64 {
	if p.df < EnoughRepeats {
		return 0
	}
	return (p.ratio + PaperWeight) / (p.df + PaperWeight)
}

// difference is one side difference of an athlete: left and right read on one day by one examiner, the
// first reading with the first, the second with the second. v and day are the variances of it that a new
// placing and a new day have by the model.
type difference struct {
	athlete string
	day     screen.Date
	d       float64
	v, dayV float64
}

// pairs compares repeats of side differences with the model, whose errors are given by measure. Where a
// side is held or set wrongly together with the other, the difference is surer than the model says; where
// the two are read one after another with something changing in between, it is less sure.
func (t *table) pairs(errors []screen.Error) (out paired) {
	list := t.differences(errors)
	for from := 0; from < len(list); {
		to := from
		for to < len(list) && list[to].athlete == list[from].athlete {
			to++
		}
		out.add(list[from:to])
		from = to
	}
	return out
}

// add takes in one athlete's differences: within days by the placings' variance, between the means of
// days by that and the day's.
func (p *paired) add(list []difference) {
	var means, weights []float64
	for from := 0; from < len(list); {
		to, sum, w := from, 0.0, 0.0
		for to < len(list) && list[to].day == list[from].day {
			sum += list[to].d / list[to].v
			w += 1 / list[to].v
			to++
		}
		mean := sum / w
		for _, x := range list[from:to] {
			p.ratio += (x.d - mean) * (x.d - mean) / x.v
		}
		p.df += float64(to - from - 1)
		means, weights = append(means, mean), append(weights, 1/(1/w+list[from].dayV))
		from = to
	}
	sum, w := 0.0, 0.0
	for i, m := range means {
		sum += weights[i] * m
		w += weights[i]
	}
	for i, m := range means {
		p.ratio += weights[i] * (m - sum/w) * (m - sum/w)
	}
	p.df += float64(len(means) - 1)
}

// differences are all that can be made of the table, by athlete and day.
func (t *table) differences(errors []screen.Error) (out []difference) {
	other := map[placing]int{}
	seen := map[placing]int{}
	keys := make([]placing, len(t.list))
	for i := range t.list {
		keys[i] = keyOf(&t.list[i], seen)
		other[keys[i]] = i
	}
	for i := range t.list {
		key := keys[i]
		if key.side != screen.Left {
			continue
		}
		key.side = screen.Right
		j, ok := other[key]
		if !ok {
			continue
		}
		a, b := &t.list[i], &t.list[j]
		x := difference{athlete: a.athlete, day: a.day, d: b.y - a.y}
		for _, part := range append(t.termsOf(a), t.termsOf(b)...) {
			e := &errors[part.m]
			x.v += part.c * part.c * (e.Placing*e.Placing + e.Trial*e.Trial/float64(part.k))
			x.dayV += part.c * part.c * e.Day * e.Day
		}
		if x.v > 0 {
			out = append(out, x)
		}
	}
	return out
}
