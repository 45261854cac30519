package stat

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// RobustLine is a line y = Intercept + Slope·x that a few wild readings do not move.
type RobustLine struct {
	Slope, Intercept float64
	Lower, Upper     float64 // 95 % interval of the slope
}

// TheilSen is the median of the slopes of all pairs with different x (Theil H. Proc K Ned Akad Wet A
// 1950;53:386-392), with Sen's interval by the normal approximation of Kendall's statistic, ties
// allowed for (Sen PK. J Am Stat Assoc 1968;63:1379-1389, equation 2.6). The intercept is median y −
// slope · median x. Needs two different x; else the error says so.
func TheilSen(x, y []float64) (RobustLine, error) {
	if err := checkLine(x, y, 2); err != nil {
		return RobustLine{}, err
	}
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	slices.Sort(slopes)
	var l RobustLine
	l.Slope = middle(slopes)
	sx, sy := slices.Sorted(slices.Values(x)), slices.Sorted(slices.Values(y))
	l.Intercept = middle(sy) - l.Slope*middle(sx)
	variance := (kendall(len(x)) - ties(sx) - ties(sy)) / 18
	if variance < 0 {
		return l, errors.New("so many readings are equal that no interval of the slope can be given")
	}
	n := float64(len(slopes))
	reach := Quantile(0.975) * math.Sqrt(variance)
	l.Lower = slopes[max(0, int(math.RoundToEven((n-reach)/2))-1)]
	l.Upper = slopes[min(len(slopes)-1, int(math.RoundToEven((n+reach)/2)))]
	return l, nil
}

// middle is the median of sorted values.
func middle(s []float64) float64 {
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}

// kendall is n(n − 1)(2n + 5), 18 times the variance of Kendall's statistic without ties.
func kendall(n int) float64 { return float64(n) * float64(n-1) * float64(2*n+5) }

func ties(sorted []float64) float64 {
	sum, run := 0.0, 1
	for i := 1; i <= len(sorted); i++ {
		if i < len(sorted) && sorted[i] == sorted[i-1] {
			run++
			continue
		}
		sum += kendall(run)
		run = 1
	}
	return sum
}

// Line is a least-squares line with what its intervals need.
type Line struct {
	Intercept, Slope float64
	SlopeSE          float64
	Residual         float64 // residual standard deviation, n − 2 degrees of freedom
	N                int
	meanX, sumX2     float64
}

// LeastSquares fits a line to at least three points with two different x (Draper NR, Smith H. Applied
// Regression Analysis, 3rd ed. 1998, chapter 1).
func LeastSquares(x, y []float64) (Line, error) {
	if err := checkLine(x, y, 3); err != nil {
		return Line{}, err
	}
	l := Line{N: len(x), meanX: stat.Mean(x, nil)}
	l.Intercept, l.Slope = stat.LinearRegression(x, y, nil, false)
	rss := 0.0
	for i := range x {
		r := y[i] - l.Intercept - l.Slope*x[i]
		rss += r * r
		l.sumX2 += (x[i] - l.meanX) * (x[i] - l.meanX)
	}
	l.Residual = math.Sqrt(rss / float64(l.N-2))
	l.SlopeSE = l.Residual / math.Sqrt(l.sumX2)
	return l, nil
}

// Predict is the line at x with the interval in which one more reading lies with the probability level
// in (0, 1).
func (l *Line) Predict(x, level float64) (fit, lower, upper float64) {
	fit = l.Intercept + l.Slope*x
	d := x - l.meanX
	se := l.Residual * math.Sqrt(1+1/float64(l.N)+d*d/l.sumX2)
	t := distuv.StudentsT{Sigma: 1, Nu: float64(l.N - 2)}.Quantile(0.5 + level/2)
	return fit, fit - t*se, fit + t*se
}

func checkLine(x, y []float64, least int) error {
	switch {
	case len(x) != len(y):
		return fmt.Errorf("%d values of x and %d of y: each point needs both", len(x), len(y))
	case len(x) < least:
		return fmt.Errorf("a line needs at least %d points; there are %d", least, len(x))
	}
	for i := range x {
		if !usable(x[i], y[i]) {
			return fmt.Errorf("point %d is not a number", i+1)
		}
	}
	if slices.Max(x)-slices.Min(x) < 1e-9 {
		return errors.New("all points are at one time; a line needs two different ones")
	}
	return nil
}
