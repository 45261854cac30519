package proof

import (
	"math"
	"testing"
)

// Bands of 90 % hold the truth in 88 to 92 of 100 where it moves as the model has it, in 86 or more (the
// slope's in 85) where it is constant, linear, or levels off; P 2 and 4 weeks ahead is calibrated where it
// moves as the model has it.
func TestTrendBands(t *testing.T) {
	p := defaults(t)
	for _, every := range Rhythms {
		for _, path := range every.Paths() {
			r := SimulateTrend(p, every.Setting(path, 0, 0), ForTrend.Of(draws(1500)))
			slack := 3 * MonteCarlo(0.9, r.N)
			level, band, slope := share(r.Level, r.N), share(r.Band, r.BandN), share(r.Slope, r.SlopeN)
			if r.SlopeN != r.N || r.BandN != r.N*every.Visits {
				t.Errorf("%s: %d slopes and %d levels of %d athletes", path.Name, r.SlopeN, r.BandN, r.N)
			}
			if path.Wanders {
				if math.Abs(level-0.9) > 0.02+slack || math.Abs(band-0.9) > 0.02+slack || math.Abs(slope-0.9) > 0.02+slack {
					t.Errorf("every %d weeks, %s: level %.3f, band %.3f, slope %.3f", every.Every, path.Name, level, band, slope)
				}
				calibrated(t, "now", &r.Now, 1000, 2)
				calibrated(t, "in 2 weeks", &r.In2, 1000, 2)
				calibrated(t, "in 4 weeks", &r.In4, 1000, 2)
				continue
			}
			if level < 0.86-slack || band < 0.86-slack || slope < 0.85-slack {
				t.Errorf("every %d weeks, %s: level %.3f, band %.3f, slope %.3f", every.Every, path.Name, level, band, slope)
			}
			if path.Slope == 0 && path.Drop == 0 {
				atMost(t, "constant, called improving or worsening", r.Better+r.Worse, r.SlopeN, 0.1)
			}
		}
	}
}

// One look at each of six visits calls "met" in 74 of 100 athletes who sit at the threshold (1 − 0.8⁶);
// two looks running in far fewer. Athletes whose deficit is quite gone are called so by the rule.
func TestRepeatedLooks(t *testing.T) {
	p := defaults(t)
	for _, f := range Followed[:2] {
		run := func(i, n int) *Met {
			return SimulateMet(p, Young, f.Rule, f.Measure, Standings[i].Found, Standings[i].At, 6, ForMet.Of(draws(n)))
		}
		at := run(0, 1500)
		within(t, f.Rule+", one look", at.One, at.N, 1-math.Pow(0.8, 6), 4)
		// two running of six at 0.2 each: 1 − P(no two running), a(n) = 0.8·a(n−1) + 0.16·a(n−2)
		a, b := 1.0, 1.0
		for range 5 {
			a, b = b, 0.8*b+0.16*a
		}
		within(t, f.Rule+", two looks running", at.TwoLooks, at.N, 1-b, 4)
		atMost(t, f.Rule+", the rule at the threshold", at.ByRule, at.N, 0.33)
		if at.ByRule < at.TwoLooks || at.ByRule > at.One || at.AtLast > at.ByRule || at.ByRule < at.TrendTwice {
			t.Errorf("%s: one look %d, rule %d, two running %d, at last %d", f.Rule, at.One, at.ByRule, at.TwoLooks, at.AtLast)
		}
		gone := run(1, 800)
		if share(gone.ByRule, gone.N) < 0.9 {
			t.Errorf("%s: of %d athletes whose deficit is gone %d are called met", f.Rule, gone.N, gone.ByRule)
		}
		stays := run(2, 1500)
		atMost(t, f.Rule+", a standard error beyond", stays.ByRule, stays.N, 0.10)
	}
}
