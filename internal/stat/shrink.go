package stat

import (
	"errors"
	"fmt"
	"math"
)

// Shrunken is a squad's values drawn towards their common mean, yᵢ ~ N(θᵢ, vᵢ), θᵢ ~ N(μ, τ²).
type Shrunken struct {
	Mu      float64   `json:"mu"`
	MuSE    float64   `json:"mu_se"`
	Tau2    float64   `json:"tau2" doc:"variance between athletes"`
	AtZero  bool      `json:"at_zero" doc:"the values do not differ more than their errors allow: the variance between athletes is estimated as 0"`
	Means   []float64 `json:"means" doc:"best linear unbiased prediction of each true value"`
	MeanSEs []float64 `json:"mean_ses"`
}

// Shrink estimates μ and τ² by restricted maximum likelihood and predicts each true value from them,
// for values y with error variances v > 0, two or more. The predictions' standard errors contain the
// uncertainty of μ, not that of τ² (Raudenbush SW, Bryk AS. J Educ Stat 1985;10:75-98; Viechtbauer W. J
// Educ Behav Stat 2005;30:261-293). Errors say in words what is missing.
func Shrink(y, v []float64) (Shrunken, error) {
	if err := checkShrink(y, v); err != nil {
		return Shrunken{}, err
	}
	s := Shrunken{Tau2: remlSpread(y, v), Means: make([]float64, len(y)), MeanSEs: make([]float64, len(y))}
	s.AtZero = s.Tau2 == 0
	var sum float64
	s.Mu, sum = pooledMean(y, v, s.Tau2)
	s.MuSE = 1 / math.Sqrt(sum)
	for i := range y {
		l := s.Tau2 / (s.Tau2 + v[i])
		s.Means[i] = s.Mu + l*(y[i]-s.Mu)
		s.MeanSEs[i] = math.Sqrt(l*v[i] + (1-l)*(1-l)/sum)
	}
	return s, nil
}

func checkShrink(y, v []float64) error {
	switch {
	case len(y) != len(v):
		return fmt.Errorf("%d values and %d variances: each value needs its own", len(y), len(v))
	case len(y) < 2:
		return errors.New("the spread between athletes needs at least two of them")
	}
	for i := range y {
		switch {
		case !usable(y[i], v[i]):
			return fmt.Errorf("value %d or its variance is not a number", i+1)
		case v[i] < 1e-18:
			return fmt.Errorf("value %d: the variance of its error is %g; it must be above 0", i+1, v[i])
		}
	}
	return nil
}

// pooledMean is the mean weighted by 1/(τ² + v), and the sum of the weights.
func pooledMean(y, v []float64, tau2 float64) (mu, sum float64) {
	for i := range y {
		w := 1 / (tau2 + v[i])
		sum += w
		mu += w * (y[i] - mu) / sum // running, so that a large common level costs no digits
	}
	return mu, sum
}

// spreadScore is twice the derivative of the restricted log-likelihood with respect to τ², and that
// likelihood itself but for a constant.
func spreadScore(y, v []float64, tau2 float64) (score, ll float64) {
	mu, sum := pooledMean(y, v, tau2)
	var sum2, r2 float64
	for i := range y {
		w := 1 / (tau2 + v[i])
		d := y[i] - mu
		sum2 += w * w
		r2 += w * w * d * d
		ll += (math.Log(w) - w*d*d) / 2
	}
	return r2 - sum + sum2/sum, ll - math.Log(sum)/2
}

// remlSpread is the τ² ≥ 0 of the largest restricted likelihood. That may have more than one maximum
// where errors are very unequal, so it is looked for between all signs of its derivative.
func remlSpread(y, v []float64) float64 {
	const points = 96
	lo, hi := spreadRange(y, v)
	best := 0.0
	last, most := spreadScore(y, v, 0)
	before := 0.0
	for k := range points {
		at := lo * math.Pow(hi/lo, float64(k)/(points-1))
		score, _ := spreadScore(y, v, at)
		if last > 0 && score <= 0 {
			top := bisectSpread(y, v, before, at)
			if _, ll := spreadScore(y, v, top); ll > most {
				best, most = top, ll
			}
		}
		before, last = at, score
	}
	return best
}

// spreadRange holds every maximum but 0: with a spread of all squared differences and all variances
// together the derivative is negative.
func spreadRange(y, v []float64) (lo, hi float64) {
	lo = math.Inf(1)
	for i := range y {
		lo = min(lo, v[i])
		hi += v[i] + (y[i]-y[0])*(y[i]-y[0])
	}
	return 1e-6 * lo, 8 * hi
}

func bisectSpread(y, v []float64, lo, hi float64) float64 {
	for range 200 {
		mid := (lo + hi) / 2
		if mid <= lo || mid >= hi {
			break
		}
		if s, _ := spreadScore(y, v, mid); s > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
