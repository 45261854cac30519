package score

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// The change after selection by hand: μ 8, ω 7, SE² 10, D 20 then 14. w = 49/59; the first comes back by
// itself to 8 + w·12 = 17.9661, by −2.0339; beyond it −3.9661 with SE √(10 + w·10) = 4.2784.
func TestCompareAfterSelection(t *testing.T) {
	s := followScorer(t)
	looks := weekly(screen.Preseason, 20, 14, 5)
	looks[1].on, looks[2].on = "2026-03-10", "2026-04-10"
	m := lineOf(t, courseOf(t, s, "2026-04-20", nil, looks[:2]...), "loss", "")
	c := m.SinceBaseline
	near(t, "raw", c.Raw, -6, 1e-9)
	near(t, "by itself", c.ByItself, -2.033898, 1e-6)
	near(t, "beyond", c.Beyond, -3.966102, 1e-6)
	near(t, "SE", c.SE, 4.278444, 1e-6)
	near(t, "P(improved)", c.PImproved, stat.Phi(3.966102/4.278444), 1e-6)
	if c.Real || !c.PriorKnown || c.Explanation != changeNot || *m.SinceLast != *c {
		t.Errorf("%+v", c)
	}
	want := []string{"As read: 6.0° better.", "Comes by itself after a first reading like that: 2.0° better.",
		"Beyond that: 4.0° better (95 in 100: between 12.4° better and 4.4° worse): cannot be told from measurement error."}
	if got := c.Lines(s, m); !slices.Equal(got, want) {
		t.Errorf("%q", got)
	}
	// The third reading is compared with the second as read: that one did not pick the athlete.
	m = lineOf(t, courseOf(t, s, "2026-04-20", nil, looks...), "loss", "")
	if c := m.SinceLast; c.ByItself != 0 || math.Abs(c.Raw+9) > 1e-9 || c.PriorKnown || !c.Real || c.Explanation != changeBetter {
		t.Errorf("since last: %+v", c)
	}
	near(t, "SE since last", m.SinceLast.SE, math.Sqrt(20), 1e-9)
}

// Where sides are only compared, a change is for the better if the difference becomes smaller, whichever
// side is the worse one. P(|d₂| < |d₁|) is checked by integrating over d₁.
func TestCompareWithoutAWorseSide(t *testing.T) {
	f := func(d, se float64) *Finding {
		return &Finding{RuleKind: screen.SideDifference, Kind: "absolute", Difference: d, SE: se, Prior: "none"}
	}
	for _, c := range []struct {
		d1, d2, raw float64
		words       string
	}{
		{-12, -2, -10, changeBetter}, {12, 2, -10, changeBetter}, {-0.5, 12, 12.5, changeWorse}, {0.5, -12, 12.5, changeWorse},
		{12, -11, -23, changeOther}, {5, 4, -1, changeNot}, {0, 0, 0, changeNot},
	} {
		got := Compare(f(c.d1, 2), f(c.d2, 3))
		near(t, fmt.Sprint("raw ", c.d1, c.d2), got.Raw, c.raw, 1e-12)
		words := c.words
		if c.raw < 0 {
			words += changeNoPrior
		}
		if got.Explanation != words {
			t.Errorf("%g to %g: %s", c.d1, c.d2, got.Explanation)
		}
		p, step := 0.0, 0.002
		for z := -7.0; z < 7; z += step {
			size := math.Abs(c.d1 + 2*(z+step/2))
			p += step * math.Exp(-(z+step/2)*(z+step/2)/2) / math.Sqrt(2*math.Pi) * (stat.Phi((size-c.d2)/3) - stat.Phi((-size-c.d2)/3))
		}
		near(t, fmt.Sprint("P(smaller) ", c.d1, c.d2), got.PImproved, p, 1e-6)
	}
}

// With a squad's figures, which are a mixture, the change expected by itself leads to the mean that the
// finding has; without any it is part of the words only.
func TestCompareWithSquadAndWithoutPrior(t *testing.T) {
	first := Finding{RuleKind: screen.SideDifference, Kind: "signed", Difference: 20, SE: 3, Prior: "squad", PriorMean: 8, PriorSD: 4, PostMean: 16, PostSD: 2}
	second := Finding{RuleKind: screen.SideDifference, Kind: "signed", Difference: 10, SE: 3, Prior: "squad"}
	c := Compare(&first, &second)
	near(t, "by itself", c.ByItself, -4, 1e-12)
	near(t, "SE", c.SE, math.Sqrt(9+4), 1e-12)
	near(t, "MDC95", c.MDC95, 1.96*3*math.Sqrt2, 1e-12)
	first.Prior = "none"
	if c := Compare(&first, &second); c.ByItself != 0 || c.PriorKnown || c.Explanation != changeBetter+changeNoPrior {
		t.Errorf("%+v", c)
	}
}

// In percent: 20 % of the better side is ln 1/0.8 = 0.223144 with an SE of 8/80 = 0.1; with μ 0 and ω 0.1
// half of it is believed, 0.111572 or 10.5573 %, with an SD of 0.0707107 or 6.32456 %.
func TestCompareInPercent(t *testing.T) {
	first := Finding{RuleKind: screen.SidePercent, Kind: "signed", Difference: 20, SE: 8, Prior: "protocol", PriorSD: 0.1}
	c := Compare(&first, &Finding{RuleKind: screen.SidePercent, Kind: "signed", Difference: 10, SE: 9})
	near(t, "raw", c.Raw, -10, 1e-9)
	near(t, "by itself", c.ByItself, 10.557281-20, 1e-6)
	near(t, "SE", c.SE, math.Sqrt(81+40), 1e-9)
}
