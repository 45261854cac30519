package proof

import (
	"math/rand/v2"
	"slices"

	"evenhand/internal/screen"
)

// bench is a world with the rules that are looked at in it: all of what is read, or one on a sum. A sum
// of measures with a prior of its own is looked at apart, with a truth of its own, since that prior's
// mean may differ from what its parts' means add up to.
type bench struct {
	*world
	sum int // place of the rule on a sum; -1: the rules on what is read, and those of two conditions
}

// benches are the world of the measures given, or of all, and one for each sum of them with a prior.
func benches(p *screen.Protocol, age int, measures ...string) []bench {
	w := newWorld(p, age, measures...)
	out := []bench{{w, -1}}
	for i := range w.rules {
		r := &w.rules[i]
		if !r.Derived {
			continue
		}
		var ids []string
		for _, q := range r.parts {
			ids = append(ids, w.read[q.at].ID)
		}
		small := newWorld(p, age, ids...)
		out = append(out, bench{small, small.ruleAt(r.ID)})
	}
	return out
}

// knownBenches are those with something known of such athletes.
func knownBenches(p *screen.Protocol, age int, measures ...string) []bench {
	return slices.DeleteFunc(benches(p, age, measures...), func(b bench) bool { return len(b.known()) == 0 })
}

// truth draws an athlete.
func (b *bench) truth(rng *rand.Rand, p *person, shift float64) {
	b.world.truth(rng, p, shift)
	if b.sum >= 0 {
		r := &b.rules[b.sum]
		r.set(p, r.Mu+r.Omega*(rng.NormFloat64()+shift))
	}
}

// looksAt reports whether a rule is looked at.
func (b *bench) looksAt(i int) bool {
	if b.sum >= 0 {
		return i == b.sum
	}
	return !b.rules[i].Derived
}

// known are the rules that are looked at and have something known of such athletes.
func (b *bench) known() []int {
	var out []int
	for i := range b.rules {
		if b.looksAt(i) && b.rules[i].Known {
			out = append(out, i)
		}
	}
	return out
}

func (w *world) newPerson() person { return person{d: make([]float64, len(w.read))} }
