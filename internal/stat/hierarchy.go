package stat

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// From how many athletes on a squad says what is known of its members: with a protocol's prior, and
// without one.
const (
	SquadLeast      = 5
	SquadLeastAlone = 12
)

const (
	gridPoints  = 41
	gridReach   = 1.75 // either side of ln ω₀
	spreadOfLnω = 0.5  // standard deviation of ln ω around ln ω₀
)

// HierarchyPrior is what a protocol says of athletes like these: true differences ~ N(Mean, SD²).
type HierarchyPrior struct {
	Mean, SD float64
	Known    bool
}

// GridPoint is one spread ω of the squad's true differences: given ω their mean is N(Mu, 1/W), and
// Weight is the posterior probability of ω.
type GridPoint struct {
	Omega  float64 `json:"omega"`
	Mu     float64 `json:"mu"`
	W      float64 `json:"w"`
	Weight float64 `json:"weight"`
}

// Grid is what a squad says of its members, ready to be kept: the posterior of mean and spread of their
// true differences. The weights add up to 1.
type Grid []GridPoint

// Hierarchy works out mean and spread of a squad's true differences from the differences d measured with
// the standard errors se: Dᵢ ~ N(θᵢ, SEᵢ²), θᵢ ~ N(μ, ω²). With a protocol's prior (5 athletes or more)
// μ ~ N(μ₀, ω₀²) and ln ω ~ N(ln ω₀, 0.5²), on 41 values of ω equally spaced in ln ω over ln ω₀ ± 1.75.
// Without one (12 or more) μ is flat and the density of ω is ∝ 1/(1 + (ω/SE)²) between 0.05 and 10 SE,
// SE being the median of the standard errors, so that one odd reading does not move the range; the grid
// is in ln ω too, which brings the factor ω, and its ends count half. μ is integrated out exactly
// (Gelman A et al. Bayesian Data Analysis, 3rd ed. 2013, section 5.4). Up to some 150 athletes the grid
// is exact to a thousandth; in a crowd ω is only known to half a step of it, 4 % or 7 %. Errors say in
// words what is missing.
func Hierarchy(d, se []float64, prior HierarchyPrior) (Grid, error) {
	if err := checkHierarchy(d, se, &prior); err != nil {
		return nil, err
	}
	typical := 0.0
	lo, hi := math.Log(prior.SD)-gridReach, math.Log(prior.SD)+gridReach
	if !prior.Known {
		typical = middle(slices.Sorted(slices.Values(se)))
		lo, hi = math.Log(0.05*typical), math.Log(10*typical)
	}
	g := make(Grid, gridPoints)
	for k := range g {
		omega := math.Exp(lo + (hi-lo)*float64(k)/(gridPoints-1))
		g[k] = squadAt(d, se, omega, &prior)
		if prior.Known {
			z := math.Log(omega/prior.SD) / spreadOfLnω
			g[k].Weight -= z * z / 2
			continue
		}
		g[k].Weight += math.Log(omega) - math.Log1p(omega/typical*omega/typical)
		if k == 0 || k == gridPoints-1 {
			g[k].Weight -= math.Ln2
		}
	}
	g.normalise()
	return g, nil
}

// squadAt is the point of one spread; its Weight is the logarithm of its likelihood times what is known
// of μ.
func squadAt(d, se []float64, omega float64, prior *HierarchyPrior) GridPoint {
	p := GridPoint{Omega: omega}
	logs := 0.0
	if prior.Known {
		p.W = 1 / (prior.SD * prior.SD)
		p.Mu = prior.Mean
	}
	for i := range d {
		t := omega*omega + se[i]*se[i]
		p.W += 1 / t
		p.Mu += (d[i] - p.Mu) / (t * p.W)
		logs += math.Log(t)
	}
	squares := 0.0
	for i := range d {
		r := d[i] - p.Mu
		squares += r * r / (omega*omega + se[i]*se[i])
	}
	if prior.Known {
		r := (p.Mu - prior.Mean) / prior.SD
		squares += r * r
	}
	p.Weight = -(logs + math.Log(p.W) + squares) / 2
	return p
}

// normalise turns logarithms of weights into weights.
func (g Grid) normalise() {
	most, sum := math.Inf(-1), 0.0
	for k := range g {
		most = max(most, g[k].Weight)
	}
	for k := range g {
		g[k].Weight = math.Exp(g[k].Weight - most)
		sum += g[k].Weight
	}
	for k := range g {
		g[k].Weight /= sum
	}
}

// Moment is a mean with a standard deviation.
type Moment struct {
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
}

// GridMoments sum a squad's posterior up.
type GridMoments struct {
	Mu    Moment `json:"mu"`
	Omega Moment `json:"omega"`
	New   Moment `json:"new" doc:"the true difference of a further athlete of the same kind"`
}

// Moments of the mean, of the spread, and of a further athlete's true difference. All are 0 for an empty
// grid.
func (g Grid) Moments() GridMoments {
	var m GridMoments
	for k := range g {
		m.Mu.Mean += g[k].Weight * g[k].Mu
		m.Omega.Mean += g[k].Weight * g[k].Omega
	}
	var mu, omega, inner float64
	for k := range g {
		a, b := g[k].Mu-m.Mu.Mean, g[k].Omega-m.Omega.Mean
		mu += g[k].Weight * (1/g[k].W + a*a)
		omega += g[k].Weight * b * b
		inner += g[k].Weight * g[k].Omega * g[k].Omega
	}
	m.Mu.SD, m.Omega.SD = math.Sqrt(mu), math.Sqrt(omega)
	m.New = Moment{m.Mu.Mean, math.Sqrt(mu + inner)}
	return m
}

// Posterior is mean and standard deviation of the true difference of one of the squad's own athletes,
// measured as d with the standard error se. each, which may be nil, gets every part of the mixture: its
// weight, and the normal distribution m = μ̂ + w(d − μ̂), s² = w·SE² + (1 − w)²/W with w = ω²/(ω² + SE²),
// so that any probability is the weighted mean of the parts' own.
func (g Grid) Posterior(d, se float64, each func(weight, mean, sd float64)) Moment {
	var mean, square float64
	v := se * se
	for k := range g {
		p := &g[k]
		w := p.Omega * p.Omega / (p.Omega*p.Omega + v)
		m := p.Mu + w*(d-p.Mu)
		s2 := w*v + (1-w)*(1-w)/p.W
		if each != nil {
			each(p.Weight, m, math.Sqrt(s2))
		}
		mean += p.Weight * (m - d)
		square += p.Weight * (s2 + (m-d)*(m-d))
	}
	return Moment{d + mean, math.Sqrt(max(0, square-mean*mean))}
}

// Further is the same for one more athlete, who is not among those that the grid was worked out from:
// at each ω the true difference is N(μ̂, ω² + 1/W) beforehand, and the reading also says something of ω,
// so that a point's weight is multiplied by the density of d ~ N(μ̂, ω² + 1/W + se²). each gets the new
// weights, which sum to 1. An se of 0 is allowed.
func (g Grid) Further(d, se float64, each func(weight, mean, sd float64)) Moment {
	v, most, total := se*se, math.Inf(-1), 0.0
	logWeight := func(p *GridPoint) float64 {
		t := p.Omega*p.Omega + 1/p.W + v
		return math.Log(p.Weight) - (math.Log(t)+(d-p.Mu)*(d-p.Mu)/t)/2
	}
	for k := range g { // far from all that is usual every density is 0: only their ratios count
		if g[k].Weight > 0 {
			most = max(most, logWeight(&g[k]))
		}
	}
	for k := range g {
		if g[k].Weight > 0 {
			total += math.Exp(logWeight(&g[k]) - most)
		}
	}
	var mean, square float64
	for k := range g {
		p := &g[k]
		if p.Weight <= 0 {
			continue
		}
		before := p.Omega*p.Omega + 1/p.W
		w := before / (before + v)
		m, s2, weight := p.Mu+w*(d-p.Mu), w*v, math.Exp(logWeight(p)-most)/total
		if each != nil {
			each(weight, m, math.Sqrt(s2))
		}
		mean += weight * (m - d)
		square += weight * (s2 + (m-d)*(m-d))
	}
	return Moment{d + mean, math.Sqrt(max(0, square-mean*mean))}
}

func checkHierarchy(d, se []float64, prior *HierarchyPrior) error {
	least, why := SquadLeastAlone, "without a prior of the protocol"
	if prior.Known {
		least, why = SquadLeast, "with the protocol's prior"
	}
	switch {
	case len(d) != len(se):
		return fmt.Errorf("%d differences and %d standard errors: each difference needs its own", len(d), len(se))
	case len(d) < least:
		return fmt.Errorf("a squad says what is known of its members from %d athletes on %s; there are %d", least, why, len(d))
	case prior.Known && !(usable(prior.Mean, prior.SD) && prior.SD > 1e-9):
		return fmt.Errorf("the protocol's prior needs a finite mean and a standard deviation above 0, not %g and %g", prior.Mean, prior.SD)
	}
	for i := range d {
		switch {
		case !usable(d[i], se[i]):
			return fmt.Errorf("athlete %d: the difference or its standard error is not a number", i+1)
		case se[i] < 0:
			return fmt.Errorf("athlete %d: the standard error is %g; it must be 0 or more", i+1, se[i])
		}
	}
	if !prior.Known && middle(slices.Sorted(slices.Values(se))) < 1e-9 {
		return errors.New("without measurement errors and without a prior of the protocol nothing tells how far the spread may reach")
	}
	return nil
}
