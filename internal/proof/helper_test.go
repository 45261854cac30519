package proof

import (
	"math"
	"testing"

	"evenhand/internal/screen"
)

func defaults(t testing.TB) *screen.Protocol {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// draws is as many as asked for, or a fortieth of them under the race detector.
func draws(n int) int {
	if few {
		return max(1, n/40)
	}
	return n
}

// calibrated checks every tenth with so many probabilities or more: what was said and what came true
// differ by 0.03 at most, plus so many Monte Carlo standard errors. It returns how many tenths were
// checked.
func calibrated(t *testing.T, what string, c *Calibration, least int, errors float64) int {
	t.Helper()
	if few {
		least, errors = least/7, errors+4
	}
	n := 0
	for i := range c {
		b := &c[i]
		if b.N < least {
			continue
		}
		n++
		if off := math.Abs(b.Said() - b.Came()); off > 0.03+errors*MonteCarlo(b.Said(), b.N) {
			t.Errorf("%s: of %d probabilities of %.3f on average %.3f came true", what, b.N, b.Said(), b.Came())
		}
	}
	return n
}

// within checks a share of n draws against what is expected, within so many Monte Carlo standard errors.
func within(t *testing.T, what string, count, n int, want, errors float64) {
	t.Helper()
	if got := share(count, n); n == 0 || math.Abs(got-want) > errors*MonteCarlo(want, n) {
		t.Errorf("%s: %.4f of %d, want %.4f", what, got, n, want)
	}
}

// atMost checks that a share of n draws is not above a bound by more than 3 Monte Carlo standard errors.
func atMost(t *testing.T, what string, count, n int, bound float64) {
	t.Helper()
	if got := share(count, n); got > bound+3*MonteCarlo(bound, n) {
		t.Errorf("%s: %.4f of %d, want at most %.4f", what, got, n, bound)
	}
}
