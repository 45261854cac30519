package proof

import (
	"math/rand/v2"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// AtThreshold is what one rule says of athletes who truly are at its threshold, which is on the clear
// side.
type AtThreshold struct {
	Rule
	N          int
	ByMeasured int // P_m ≥ the deficit cut-off
	Deficits   int
	Called     int // by D > τ alone
}

// SimulateAtThreshold scores athletes whose true difference is exactly the threshold of each rule; of
// absolute rules on either side alike.
func SimulateAtThreshold(p *screen.Protocol, age int, set Settings, measures ...string) []AtThreshold {
	var out []AtThreshold
	for _, b := range benches(p, age, measures...) {
		all := draw(set, b.atThreshold, func(sum, part []AtThreshold) []AtThreshold {
			if sum == nil {
				return part
			}
			for i := range sum {
				sum[i].N += part[i].N
				sum[i].ByMeasured += part[i].ByMeasured
				sum[i].Deficits += part[i].Deficits
				sum[i].Called += part[i].Called
			}
			return sum
		})
		for i := range all {
			if b.looksAt(i) && !all[i].Both() {
				out = append(out, all[i])
			}
		}
	}
	return out
}

func (b *bench) atThreshold(rng *rand.Rand, n int) []AtThreshold {
	out := make([]AtThreshold, len(b.rules))
	for i := range out {
		out[i].Rule = b.rules[i]
	}
	v, p := b.newVisit(1), b.newPerson()
	for range n {
		b.standAt(rng, &p, 1)
		b.eachFinding(b.s.Score(v.take(rng, &p), score.Options{}), func(i int, f *score.Finding) {
			out[i].see(f, b.p.Cutoffs.Deficit)
		})
	}
	return out
}

// standAt puts the truth of every rule that is looked at to its threshold times a factor; of absolute
// rules on either side alike.
func (b *bench) standAt(rng *rand.Rand, p *person, factor float64) {
	p.left = rng.IntN(2) == 0
	for i := range b.rules {
		r := &b.rules[i]
		if r.Both() || !b.looksAt(i) {
			continue
		}
		x := factor * r.Tau
		if r.Absolute && rng.IntN(2) == 0 {
			x = -x
		}
		r.set(p, x)
	}
}

func (a *AtThreshold) see(f *score.Finding, cut float64) {
	a.N++
	count(&a.ByMeasured, f.PMeasured >= cut)
	count(&a.Deficits, f.Verdict == score.Deficit)
	count(&a.Called, f.Difference > f.Threshold || a.Absolute && (-f.Difference > f.Threshold))
}
