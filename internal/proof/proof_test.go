package proof

import (
	"math"
	"reflect"
	"runtime"
	"testing"
)

// Probabilities are what they say where the truth is what the protocol takes for known: every tenth with
// 1,000 findings or more within 0.03, of 200,000 findings a rule.
func TestProbabilitiesAreCalibrated(t *testing.T) {
	p := defaults(t)
	set := ForVerdicts.Of(draws(ForVerdicts.Draws))
	grown := Settings{set.Draws, set.Seed + 100}
	for _, v := range []*Verdicts{SimulateVerdicts(p, Young, Truth{}, set), SimulateVerdicts(p, Grown, Truth{}, grown, Shoulder...)} {
		if len(v.Outcomes) < 6 || v.Link != "shoulder" {
			t.Fatalf("%d rules, link %q", len(v.Outcomes), v.Link)
		}
		for i := range v.Outcomes {
			o := &v.Outcomes[i]
			if o.N != set.Draws || o.P.N() != o.N || o.Deficits+o.Clears+o.Unsettled != o.N {
				t.Errorf("%s: %d findings of %d", o.ID, o.N, set.Draws)
			}
			if calibrated(t, o.ID, &o.P, 1000, 0) == 0 {
				t.Errorf("%s: no tenth has enough findings", o.ID)
			}
			atMost(t, o.ID+", called clear though a standard error or more beyond", o.FarClear, o.Far, 0.05)
		}
		if n := calibrated(t, "link "+v.Link, &v.PLink, 1000, 0); n < 8 {
			t.Errorf("%d tenths of the link's probability were checked", n)
		}
	}
}

// The same check finds errors that are twice as large as assumed, so it can fail.
func TestCalibrationSeesWrongErrors(t *testing.T) {
	v := SimulateVerdicts(defaults(t), Young, Truth{Errors: 2}, Settings{draws(40_000), 1}, Shoulder...)
	for i := range v.Outcomes {
		if off, n := v.Outcomes[i].P.Worst(draws(40_000) / 40); off < 0.06 {
			t.Errorf("%s: errors twice as large moved %d tenths by %.3f at most", v.Outcomes[i].ID, n, off)
		}
	}
}

// At a true difference of exactly the threshold the measurement alone calls a deficit in 20 of 100. For
// absolute rules the exact share is that of the normal distribution beyond the reading from which a
// deficit is called, on either side; it is found here by bisection.
func TestFalseAlarmsAtTheThreshold(t *testing.T) {
	phi := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
	for _, a := range SimulateAtThreshold(defaults(t), Young, ForThreshold.Of(draws(ForThreshold.Draws))) {
		want := 0.2
		if a.Absolute {
			lo, hi := a.Tau, a.Tau+3*a.SE
			for range 60 {
				mid := (lo + hi) / 2
				if phi((mid-a.Tau)/a.SE)+phi((-mid-a.Tau)/a.SE) < 0.8 {
					lo = mid
				} else {
					hi = mid
				}
			}
			want = phi((a.Tau-lo)/a.SE) + phi((-a.Tau-lo)/a.SE)
		}
		if want < 0.2-1e-9 || want > 0.21 {
			t.Errorf("%s: %.4f expected", a.ID, want)
		}
		within(t, a.ID, a.ByMeasured, a.N, want, 4)
		atMost(t, a.ID+", deficits", a.Deficits, a.N, want)
	}
}

// Results are the same on any number of cores, and other seeds give others.
func TestSameSeedSameResult(t *testing.T) {
	p := defaults(t)
	run := func(seed uint64) *Verdicts {
		return SimulateVerdicts(p, Young, Truth{}, Settings{1500, seed}, Shoulder...)
	}
	a := run(1)
	old := runtime.GOMAXPROCS(1)
	b := run(1)
	runtime.GOMAXPROCS(old)
	if !reflect.DeepEqual(a, b) {
		t.Error("one core gives another result")
	}
	if reflect.DeepEqual(a.Outcomes, run(2).Outcomes) {
		t.Error("another seed gives the same result")
	}
}

// Where errors are overstated, the prior is off by half its spread either way, or readings are rounded to
// the instrument's step, at most 5 of 100 athletes a standard error or more beyond a threshold are called
// clear. Where errors are understated that does not hold; the bounds are what was measured.
func TestClearWhereAssumptionsAreWrong(t *testing.T) {
	p := defaults(t)
	for _, truth := range Wrong {
		bound := 0.05
		switch truth.Errors {
		case 1.5:
			bound = 0.12
		case 2:
			bound = 0.16
		}
		v := SimulateVerdicts(p, Young, truth, ForWrong.Of(draws(20_000)))
		for i := range v.Outcomes {
			o := &v.Outcomes[i]
			atMost(t, o.ID, o.FarClear, o.Far, bound)
			if truth.Errors == 2 && o.ID == "hip_internal_rotation_difference" && !few && share(o.FarClear, o.Far) < 0.05 {
				t.Error("with errors twice as large as assumed the 5 % hold: say so in docs/proof.md")
			}
		}
	}
}
