package stat

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Phi is the standard normal distribution function, to full precision in both tails.
func Phi(x float64) float64 {
	if x > 8.3 {
		return 1 // the other tail is below half of the last place
	}
	return 0.5 * math.Erfc(-x/math.Sqrt2)
}

// Quantile is the inverse of Phi for p in (0, 1).
func Quantile(p float64) float64 { return mathext.NormalQuantile(p) }

// Above is the probability that a normal variable with the mean and SD given exceeds t. With an SD of
// zero it is 1 or 0; t itself does not exceed t.
func Above(t, mean, sd float64) float64 {
	if sd <= 0 {
		if mean > t {
			return 1
		}
		return 0
	}
	return Phi((mean - t) / sd)
}

// Beyond is the probability that the absolute value of such a variable exceeds t, t ≥ 0.
func Beyond(t, mean, sd float64) float64 {
	if mean < 0 {
		mean = -mean
	}
	if 2*mean > 4*sd && mean+t > 9*sd && sd > 0 {
		return Above(t, mean, sd) // the other tail is below 1e-18 and small against this one
	}
	return Above(t, mean, sd) + Above(t, -mean, sd)
}
