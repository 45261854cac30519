package stat

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Answers from SciPy 1.10.1, stats.theilslopes(y, x, 0.95); see testdata/numerics.json.
func TestTheilSenAgainstSciPy(t *testing.T) {
	var ref struct {
		TheilSen struct {
			X, Y             []float64
			Slope, Intercept float64
			Lower            float64 `json:"slope_lower95"`
			Upper            float64 `json:"slope_upper95"`
		} `json:"theil_sen"`
	}
	reference(t, "numerics.json", &ref)
	r := &ref.TheilSen
	l, err := TheilSen(r.X, r.Y)
	if err != nil || len(r.X) != 8 {
		t.Fatal(err, len(r.X))
	}
	close2(t, "slope", l.Slope, r.Slope, 1e-12)
	close2(t, "intercept", l.Intercept, r.Intercept, 1e-12)
	close2(t, "lower", l.Lower, r.Lower, 1e-12)
	close2(t, "upper", l.Upper, r.Upper, 1e-12)
}

// Ties by hand. x = 0 0 1 2, y = 1 3 3 5: the five slopes with different x are 0, 1, 2, 2, 2 with the
// median 2. Variance of Kendall's statistic with one pair of ties in x and one in y:
// (4·3·13 − 2·1·9 − 2·1·9)/18 = 6.6667, so the ranks are (5 ∓ 1.95996·2.58199)/2 = −0.03 and 5.03,
// rounded 0 and 5: the smallest and the largest slope.
func TestTheilSenWithTies(t *testing.T) {
	l, err := TheilSen([]float64{0, 2, 0, 1}, []float64{1, 5, 3, 3})
	if err != nil {
		t.Fatal(err)
	}
	if want := (RobustLine{Slope: 2, Intercept: 2, Lower: 0, Upper: 2}); l != want {
		t.Errorf("%+v, want %+v: median y 3 − 2·median x 0.5", l, want)
	}
}

// Twenty points without ties: the variance is 20·19·45/18 = 950, so the ranks among the 190 slopes are
// (190 ∓ 1.95996·30.8221)/2 = 64.8 and 125.2, rounded 65 (the 65th) and 125 (the 126th, counted from 0).
func TestTheilSenRanks(t *testing.T) {
	var x, y, slopes []float64
	for i := range 20 {
		x, y = append(x, float64(i)), append(y, math.Exp2(float64(i)))
		for j := range i {
			slopes = append(slopes, (y[i]-y[j])/float64(i-j))
		}
	}
	slices.Sort(slopes)
	l, err := TheilSen(x, y)
	if err != nil {
		t.Fatal(err)
	}
	if l.Lower != slopes[64] || l.Upper != slopes[125] {
		t.Errorf("%g to %g, want %g to %g", l.Lower, l.Upper, slopes[64], slopes[125])
	}
}

// One wild reading among nine does not move the line, and the order of the points means nothing.
func TestTheilSenIsRobust(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		a, b := rapid.Float64Range(-50, 50).Draw(rt, "intercept"), rapid.Float64Range(-3, 3).Draw(rt, "slope")
		var x, y []float64
		for i := range 9 {
			x, y = append(x, float64(i)), append(y, a+b*float64(i))
		}
		at := rapid.IntRange(0, 8).Draw(rt, "wild one")
		y[at] += rapid.Float64Range(-1000, 1000).Draw(rt, "wild")
		l, err := TheilSen(x, y)
		if err != nil {
			rt.Fatal(err)
		}
		close2(rt, "slope", l.Slope, b, 1e-9)
		slices.Reverse(x)
		slices.Reverse(y)
		if r, _ := TheilSen(x, y); r != l {
			rt.Errorf("another order: %+v, %+v", r, l)
		}
	})
}

// Answers from R 4.2.2, lm and predict(interval = "prediction", level = 0.9); see testdata/shrinkage.json.
func TestLeastSquaresAgainstR(t *testing.T) {
	var ref struct {
		OLS struct {
			X, Y             []float64
			Intercept, Slope float64
			SlopeSE          float64 `json:"slope_se"`
			At               float64 `json:"predict_at"`
			Fit              float64
			Lower            float64 `json:"lower90"`
			Upper            float64 `json:"upper90"`
		}
	}
	reference(t, "shrinkage.json", &ref)
	r := &ref.OLS
	l, err := LeastSquares(r.X, r.Y)
	if err != nil || len(r.X) != 7 {
		t.Fatal(err, len(r.X))
	}
	close2(t, "intercept", l.Intercept, r.Intercept, 1e-12)
	close2(t, "slope", l.Slope, r.Slope, 1e-12)
	close2(t, "slope SE", l.SlopeSE, r.SlopeSE, 1e-11)
	fit, lower, upper := l.Predict(r.At, 0.9)
	close2(t, "fit", fit, r.Fit, 1e-12)
	close2(t, "lower", lower, r.Lower, 1e-11)
	close2(t, "upper", upper, r.Upper, 1e-11)
}

func TestLinesRefuseInWords(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		x, y  []float64
		sen   string
		least string
	}{
		{nil, nil, "at least 2 points; there are 0", "at least 3 points; there are 0"},
		{[]float64{1, 2}, []float64{1}, "2 values of x and 1 of y", "2 values of x and 1 of y"},
		{[]float64{1, 2}, []float64{1, 3}, "", "at least 3 points; there are 2"},
		{[]float64{4, 4, 4}, []float64{1, 2, 3}, "all points are at one time", "all points are at one time"},
		{[]float64{4, 5, 6}, []float64{1, nan, 3}, "point 2 is not a number", "point 2 is not a number"},
		{[]float64{4, math.Inf(1), 6}, []float64{1, 2, 3}, "point 2 is not a number", "point 2 is not a number"},
		{[]float64{0, 0, 0, 0, 1}, []float64{2, 2, 2, 2, 9}, "no interval of the slope", ""},
		{[]float64{0, 1, 2}, []float64{7, 7, 7}, "", ""},
	} {
		l, err := TheilSen(c.x, c.y)
		says(t, err, c.sen)
		if s := l.Slope + l.Intercept + l.Lower + l.Upper; math.IsNaN(s) || math.IsInf(s, 0) {
			t.Errorf("%v %v: %+v", c.x, c.y, l)
		}
		o, err := LeastSquares(c.x, c.y)
		says(t, err, c.least)
		if err == nil {
			if fit, lo, hi := o.Predict(3, 0.9); math.IsNaN(fit + lo + hi + o.SlopeSE) {
				t.Errorf("%v %v: %+v", c.x, c.y, o)
			}
		}
	}
}

// says checks that an error contains the words, or that there is none where none are wanted.
func says(t testing.TB, err error, want string) {
	t.Helper()
	switch {
	case want == "" && err != nil:
		t.Errorf("refused: %v", err)
	case want != "" && (err == nil || !strings.Contains(err.Error(), want)):
		t.Errorf("got %v, want %q", err, want)
	}
}
