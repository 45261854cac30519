package stat

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Answers from R 4.2.2, metafor 3.8.1: rma(y, v, method = "REML") and blup; see testdata/shrinkage.json.
// REML stops there when the step is below 1e-12.
func TestShrinkAgainstMetafor(t *testing.T) {
	var ref struct {
		Shrinkage struct {
			Y, V   []float64
			Mu     float64
			MuSE   float64 `json:"mu_se"`
			Tau2   float64
			BLUP   []float64
			BLUPSE []float64 `json:"blup_se"`
		}
	}
	reference(t, "shrinkage.json", &ref)
	r := &ref.Shrinkage
	s, err := Shrink(r.Y, r.V)
	if err != nil || len(r.BLUP) != 18 {
		t.Fatal(err, len(r.BLUP))
	}
	close2(t, "μ", s.Mu, r.Mu, 1e-9)
	close2(t, "SE of μ", s.MuSE, r.MuSE, 1e-9)
	close2(t, "τ²", s.Tau2, r.Tau2, 1e-9)
	for i := range r.BLUP {
		close2(t, fmt.Sprint("prediction ", i), s.Means[i], r.BLUP[i], 1e-9)
		close2(t, fmt.Sprint("its SE ", i), s.MeanSEs[i], r.BLUPSE[i], 1e-9)
	}
}

// With equal variances REML has a closed form, max(0, sample variance − v); two athletes suffice.
func TestShrinkWithEqualVariances(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		y := rapid.SliceOfN(rapid.Float64Range(-40, 40), 2, 30).Draw(rt, "y")
		variance := rapid.Float64Range(0.01, 100).Draw(rt, "v")
		v := make([]float64, len(y))
		mean, ss := 0.0, 0.0
		for i := range y {
			v[i] = variance
			mean += y[i] / float64(len(y))
		}
		for i := range y {
			ss += (y[i] - mean) * (y[i] - mean)
		}
		want := max(0, ss/float64(len(y)-1)-variance)
		s, err := Shrink(y, v)
		if err != nil {
			rt.Fatal(err)
		}
		if math.Abs(s.Tau2-want) > 1e-6*variance+1e-9*want || s.AtZero != (s.Tau2 == 0) {
			rt.Errorf("τ² %.12g, want %.12g (%v)", s.Tau2, want, s.AtZero)
		}
		close2(rt, "μ", s.Mu, mean, 1e-9)
	})
}

// No point on a fine grid has a larger restricted likelihood, written out anew here, than the estimate.
func TestShrinkFindsTheHighestMaximum(t *testing.T) {
	likelihood := func(y, v []float64, tau2 float64) float64 {
		var sw, swy, ll float64
		for i := range y {
			sw += 1 / (v[i] + tau2)
			swy += y[i] / (v[i] + tau2)
		}
		for i := range y {
			ll -= 0.5*math.Log(v[i]+tau2) + 0.5*(y[i]-swy/sw)*(y[i]-swy/sw)/(v[i]+tau2)
		}
		return ll - 0.5*math.Log(sw)
	}
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(rt, "n")
		y := rapid.SliceOfN(rapid.Float64Range(-20, 20), n, n).Draw(rt, "y")
		v := rapid.SliceOfN(rapid.Float64Range(0.001, 200), n, n).Draw(rt, "v")
		s, err := Shrink(y, v)
		if err != nil {
			rt.Fatal(err)
		}
		top := likelihood(y, v, s.Tau2)
		for x := 1e-5; x < 1e5; x *= 1.1 {
			if l := likelihood(y, v, x); l > top+1e-7 {
				rt.Fatalf("τ² = %g has %.9g, the estimate %g only %.9g", x, l, s.Tau2, top)
			}
		}
	})
}

func TestShrinkDegenerate(t *testing.T) {
	same := []float64{8, 8, 8}
	s, err := Shrink(same, []float64{1, 4, 9})
	if err != nil || !s.AtZero || s.Tau2 != 0 || s.Mu != 8 || s.Means[2] != 8 || math.IsNaN(s.MeanSEs[0]) {
		t.Errorf("identical values: %+v, %v", s, err)
	}
	for _, c := range []struct {
		y, v []float64
		want string
	}{
		{nil, nil, "at least two"},
		{[]float64{3}, []float64{1}, "at least two"},
		{[]float64{3, 4}, []float64{1}, "2 values and 1 variances"},
		{[]float64{3, 4}, []float64{1, 0}, "value 2: the variance of its error is 0; it must be above 0"},
		{[]float64{3, math.NaN()}, []float64{1, 1}, "value 2 or its variance is not a number"},
		{[]float64{3, 9}, []float64{1, 1}, ""},
	} {
		_, err := Shrink(c.y, c.v)
		says(t, err, c.want)
	}
}
