package proof

import (
	"math"
	"testing"
)

// Where nothing changed, 5 of 100 changes are called real, also in those whom a deficit picked out; and
// what is said to come by itself does.
func TestNothingChanged(t *testing.T) {
	picked := 0
	for _, u := range SimulateUnchanged(defaults(t), Young, ForUnchanged.Of(draws(25_000))) {
		within(t, u.ID, u.All.Real, u.All.N, 0.05, 4)
		within(t, u.ID+", interval", u.All.Cover, u.All.N, 0.9, 4)
		atMost(t, u.ID+", deficits", u.Deficits.Real, u.Deficits.N, 0.05)
		if u.Deficits.N < 500 {
			continue
		}
		picked++
		n := float64(u.Deficits.N)
		raw, said := u.Deficits.RawSum/n, u.Deficits.ByItself/n
		if math.Abs(raw-said) > 4*2*u.SE/math.Sqrt(n) {
			t.Errorf("%s: changed by %.2f, %.2f was said to come by itself", u.ID, raw, said)
		}
		if u.Deficits.RawBetter < u.Deficits.Raw-u.Deficits.RawBetter {
			t.Errorf("%s: no regression to the mean", u.ID)
		}
	}
	if picked < 2 && !few {
		t.Errorf("%d rules with enough deficits", picked)
	}
}
