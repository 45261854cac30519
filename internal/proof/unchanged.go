package proof

import (
	"math"
	"math/rand/v2"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Unchanged is what two visits say of athletes in whom nothing changed.
type Unchanged struct {
	Rule
	All      Changes // every athlete
	Deficits Changes // those whom the first visit picked out
}

// Changes are counts of changes between two visits.
type Changes struct {
	N         int
	Real      int     // called a real change
	Improved  int     // of these, for the better
	Raw       int     // raw change beyond MDC95
	RawBetter int     // of these, for the better
	RawSum    float64 // of raw changes; negative: a smaller deficit
	ByItself  float64 // of the changes expected because the first reading was extreme
	Cover     int     // 90 % intervals of the change beyond that which contain 0
}

// SimulateUnchanged measures athletes twice, on two days, between which nothing changed.
func SimulateUnchanged(p *screen.Protocol, age int, set Settings, measures ...string) []Unchanged {
	var out []Unchanged
	for _, b := range knownBenches(p, age, measures...) {
		all := draw(set, b.unchanged, func(sum, part []Unchanged) []Unchanged {
			if sum == nil {
				return part
			}
			for i := range sum {
				sum[i].All.add(&part[i].All)
				sum[i].Deficits.add(&part[i].Deficits)
			}
			return sum
		})
		for _, i := range b.known() {
			if !all[i].Both() {
				out = append(out, all[i])
			}
		}
	}
	return out
}

func (b *bench) unchanged(rng *rand.Rand, n int) []Unchanged {
	out := make([]Unchanged, len(b.rules))
	for i := range out {
		out[i].Rule = b.rules[i]
	}
	v, p := b.newVisit(1), b.newPerson()
	first := make([]*score.Finding, len(b.rules))
	for range n {
		b.truth(rng, &p, 0)
		b.eachFinding(b.s.Score(v.take(rng, &p), score.Options{}), func(i int, f *score.Finding) { first[i] = f })
		b.eachFinding(b.s.Score(v.take(rng, &p), score.Options{}), func(i int, f *score.Finding) {
			if b.rules[i].Both() {
				return
			}
			c := score.Compare(first[i], f)
			out[i].All.see(&c)
			if first[i].Verdict == score.Deficit {
				out[i].Deficits.see(&c)
			}
		})
	}
	return out
}

// see counts a change; one for the better is negative.
func (c *Changes) see(x *score.Change) {
	c.N++
	count(&c.Real, x.Real)
	count(&c.Improved, x.Real && x.Beyond < 0)
	raw := math.Abs(x.Raw) > x.MDC95
	count(&c.Raw, raw)
	count(&c.RawBetter, raw && x.Raw < 0)
	c.RawSum += x.Raw
	c.ByItself += x.ByItself
	count(&c.Cover, x.Interval90[0] <= 0 && x.Interval90[1] >= 0)
}

func (c *Changes) add(o *Changes) {
	c.N += o.N
	c.Real += o.Real
	c.Improved += o.Improved
	c.Raw += o.Raw
	c.RawBetter += o.RawBetter
	c.RawSum += o.RawSum
	c.ByItself += o.ByItself
	c.Cover += o.Cover
}
