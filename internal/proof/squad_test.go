package proof

import "testing"

// P_k with the squad's figures is calibrated too, for those counted in them and for those who are not.
func TestSquadsAreCalibrated(t *testing.T) {
	p := defaults(t)
	least := 4 // tenths
	if few {
		least = 1
	}
	for _, n := range SquadSizes {
		rules := SimulateSquads(p, Young, n, ForSquads.Of(draws(30_000/n)), "shoulder_internal_rotation", "shoulder_horizontal_adduction", "trunk_rotation")
		if len(rules) != 3 {
			t.Fatalf("%d rules", len(rules))
		}
		for i := range rules {
			s := &rules[i]
			// Athletes of one squad share its mean and spread: more than binomial scatter
			if calibrated(t, s.ID, &s.Counted, 500, 3) < least {
				t.Errorf("%s: too few tenths", s.ID)
			}
			calibrated(t, s.ID+", not counted", &s.Others, 500, 3)
			calibrated(t, s.ID+", not counted, by the posterior worked out here", &s.Exact, 500, 3)
			if off, _ := s.Protocol.Worst(draws(500)); off < 0.03 && s.Absolute {
				t.Errorf("%s: the protocol's prior is as good: the squad's figures do nothing", s.ID)
			}
		}
	}
}

// One athlete with a true deficit is not drawn into a squad that has none.
func TestOutlierInHealthySquad(t *testing.T) {
	p := defaults(t)
	for _, beyond := range []float64{1, 2} {
		for _, o := range SimulateOutlier(p, Young, 20, beyond, ForOutlier.Of(draws(600))) {
			atMost(t, o.ID, o.Clear, o.N, 0.05)
			if beyond == 1 && o.ClearBySquad < o.Clear {
				t.Errorf("%s: cleared without the squad", o.ID)
			}
		}
	}
}
