package study

import (
	"fmt"
	"math"

	"evenhand/internal/stat"
)

// kappa compares the first with the second rating of every side.
func (t *table) kappa() *Kappa {
	levels := len(t.m.Categories)
	var a, b []int
	for _, x := range t.targets {
		if x.to-x.from < 2 {
			continue
		}
		first, ok := category(t.list[x.from].value, levels)
		second, ok2 := category(t.list[x.from+1].value, levels)
		if ok && ok2 {
			a, b = append(a, first), append(b, second)
		}
	}
	k, err := stat.Kappa(a, b, levels)
	if err != nil { // no pairs
		return nil
	}
	out := &Kappa{Kappas: k, Pairs: k.N}
	same := int(math.Round(k.Observed * float64(k.N)))
	if !k.OK {
		out.Words = fmt.Sprintf("%d of %d sides were rated the same twice. %s", same, k.N, k.Note)
		return out
	}
	out.Words = fmt.Sprintf("%d of %d sides were rated the same twice; kappa %.2f (95 in 100: %.2f to %.2f), with near misses counted in part %.2f.",
		same, k.N, k.Kappa, max(-1, k.Kappa-1.96*k.SE), min(1, k.Kappa+1.96*k.SE), k.Weighted)
	return out
}

// category is a rating as one of the levels 0 … levels − 1.
func category(v float64, levels int) (int, bool) {
	i := int(math.Round(v))
	return i, float64(i) == v && i >= 0 && i < levels
}
