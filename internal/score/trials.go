package score

import (
	"math"
	"slices"

	"evenhand/internal/screen"
)

// Variances of the median and of the best of k standard normal trials, and the expected excess of the
// best over the mean, k = 1 … 6. Order statistics of the normal distribution (Teichroew D. Ann Math
// Stat 1956;27:410-426; values from memory, checked by integration in the tests).
var (
	medianVar  = [...]float64{0, 1, 0.5, 0.4487, 0.2982, 0.2868}
	bestVar    = [...]float64{0, 1, 0.6817, 0.5595, 0.4917, 0.4475, 0.4159}
	bestExcess = [...]float64{0, 0, 0.5642, 0.8463, 1.0294, 1.1630, 1.2672}
)

// combined is the value of a reading on the measure's own scale (the natural logarithm for log
// measures) and the factor g(k) by which the trial variance enters it.
func combined(m *screen.Measure, trials []float64) (y, g float64) {
	k := len(trials)
	switch m.Trials.Combine {
	case screen.Median:
		if k < len(medianVar) {
			return median(m, trials), medianVar[k]
		}
	case screen.Best:
		if k < len(bestVar) {
			return best(m, trials, k), bestVar[k]
		}
	}
	sum := 0.0
	for _, t := range trials {
		sum += onScale(m, t)
	}
	return sum / float64(k), 1 / float64(k)
}

// best takes the expected excess of the best trial off: else three more tries on one side would look
// like a difference of sides.
func best(m *screen.Measure, trials []float64, k int) float64 {
	if m.Worse == "higher" {
		return onScale(m, slices.Min(trials)) + bestExcess[k]*m.Resolved.Trial
	}
	return onScale(m, slices.Max(trials)) - bestExcess[k]*m.Resolved.Trial
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

// gFor is g(k) for a number of trials, as combined gives it.
func gFor(m *screen.Measure, k int) float64 {
	switch {
	case m.Trials.Combine == screen.Median && k < len(medianVar):
		return medianVar[k]
	case m.Trials.Combine == screen.Best && k < len(bestVar):
		return bestVar[k]
	}
	return 1 / float64(k)
}
