package proof

import "testing"

// The stated chance that measuring again settles a finding is how often it does. A rule of two
// conditions states none.
func TestChanceToSettle(t *testing.T) {
	tenths := 0
	for _, s := range SimulateSettled(defaults(t), Young, ForSettled.Of(draws(25_000))) {
		if s.Both() {
			if s.AloneN > 0 {
				t.Errorf("%s states a chance", s.ID)
			}
			continue
		}
		tenths += calibrated(t, s.ID+", three more trials", &s.MoreTrials, 1000, 2)
		tenths += calibrated(t, s.ID+", newly placed", &s.NewPlacing, 1000, 2)
		tenths += calibrated(t, s.ID+", another day", &s.AnotherDay, 1000, 2)
	}
	if tenths < 20 && !few {
		t.Errorf("%d tenths were checked", tenths)
	}
}
