package score

import (
	"math"
	"slices"

	"evenhand/internal/screen"
)

// combined is the value of a reading on the measure's own scale (the natural logarithm for log
// measures) and the factor g(k) by which the trial variance enters it.
func combined(m *screen.Measure, trials []float64) (y, g float64) {
	k := len(trials)
	g = m.Trials.Share(k)
	switch {
	case m.Trials.AsMean(k):
	case m.Trials.Combine == screen.Median:
		return median(m, trials), g
	default:
		return best(m, trials, k), g
	}
	sum := 0.0
	for _, t := range trials {
		sum += onScale(m, t)
	}
	return sum / float64(k), g
}

// best takes the expected excess of the best trial off: else three more tries on one side would look
// like a difference of sides.
func best(m *screen.Measure, trials []float64, k int) float64 {
	if m.Worse == "higher" {
		return onScale(m, slices.Min(trials)) + screen.BestExcess(k)*m.Resolved.Trial
	}
	return onScale(m, slices.Max(trials)) - screen.BestExcess(k)*m.Resolved.Trial
}

func median(m *screen.Measure, trials []float64) float64 {
	var buf [8]float64
	s := append(buf[:0], trials...)
	slices.Sort(s)
	mid := len(s) / 2
	if len(s)%2 == 1 {
		return onScale(m, s[mid])
	}
	return (onScale(m, s[mid-1]) + onScale(m, s[mid])) / 2
}

func onScale(m *screen.Measure, t float64) float64 {
	if m.Scale == screen.Log {
		return math.Log(max(t, m.LogFloor, 1e-9))
	}
	return t
}
