package stat

import "math"

// The published side-to-side indices. a is the side looked at (throwing, involved), b the other. They
// are of use for quantities well above zero only: strength, distances, times.

// LimbSymmetryIndex is 100·a/b, percent (clinic form, as catalogued in Bishop C et al. Strength Cond J
// 2016;38(6):27-32).
func LimbSymmetryIndex(a, b float64) float64 { return 100 * a / b }

// SymmetryIndex is 100·(a − b)/((a + b)/2), percent (Robinson RO, Herzog W, Nigg BM. J Manipulative
// Physiol Ther 1987;10:172-176).
func SymmetryIndex(a, b float64) float64 { return 100 * (a - b) / ((a + b) / 2) }

// SymmetryAngle is 100·(45° − arctan(left/right))/90°, percent: 0 is perfect symmetry (Zifchock RA et
// al. Gait Posture 2008;27:622-627).
func SymmetryAngle(left, right float64) float64 {
	x := 45 - math.Atan2(left, right)*180/math.Pi
	if x > 90 {
		x -= 180
	}
	return x / 90 * 100
}
