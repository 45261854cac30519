package stat

import (
	"errors"
	"fmt"
	"math"
)

// TrendModel is a level x (a true deficit, in its own unit) that moves by a slope s (unit a week), the
// slope fading towards 0. Over h weeks, with φ = e^(−h/Λ),
//
//	x' = x + Λ(1 − φ)s + e₁,  s' = φs + e₂,
//	var e₁ = SΛ²(2h/Λ − 3 + 4φ − φ²), cov = SΛ(1 − φ)², var e₂ = S(1 − φ²):
//
// an Ornstein-Uhlenbeck slope and its integral, seen at any times (Uhlenbeck GE, Ornstein LS. Phys Rev
// 1930;36:823-841). As Λ grows with 2S/Λ = q it becomes the integrated random walk, e with covariance
// q·[[h³/3, h²/2], [h²/2, h]].
type TrendModel struct {
	S      float64 // variance that the slope settles at, (unit/week)², ≥ 0
	Lambda float64 // weeks in which a pace fades to a third, > 0; +Inf: integrated random walk
	Q      float64 // for Lambda = +Inf only: spectral density of the slope's walk, unit²/week³, ≥ 0
}

// TrendState is what is known of level and slope at one time: a normal distribution.
type TrendState struct{ Level, LevelVar, Slope, SlopeVar, Cov float64 }

// TrendStart is what is known at the first visit.
type TrendStart = TrendState

// LevelSD is the standard deviation of the level.
func (s *TrendState) LevelSD() float64 { return math.Sqrt(s.LevelVar) }

// SlopeSD is the standard deviation of the slope.
func (s *TrendState) SlopeSD() float64 { return math.Sqrt(s.SlopeVar) }

// TrendSeries is what was read at the visits: weeks in order of time, of which some may be equal, each
// reading with its standard error.
type TrendSeries struct {
	Weeks, Readings, SEs []float64
	// FirstInStart says that the start already contains the first reading, which is then used only once.
	FirstInStart bool
}

// Trend is a series of visits seen through a model.
type Trend struct {
	Visits        []TrendVisit
	LogLikelihood float64 // of the readings that were not in the start
	model         TrendModel
}

// TrendVisit is what is known of one visit: from the readings up to it, and from all.
type TrendVisit struct {
	Week               float64
	Filtered, Smoothed TrendState
	later              adjoint // what this visit and the later ones say of the state before its reading
}

// adjoint is a vector and a symmetric matrix (11, 12, 22) that carry later readings back in time.
type adjoint struct{ r1, r2, n11, n12, n22 float64 }

// move is a transition over some weeks: x' = x + f·s, s' = φ·s, and the covariance of its noise.
type move struct{ f, phi, q11, q12, q22 float64 }

// move works the transition out without loss of digits for short steps.
func (m *TrendModel) move(h float64) move {
	if math.IsInf(m.Lambda, 1) {
		return move{h, 1, m.Q * h * h * h / 3, m.Q * h * h / 2, m.Q * h}
	}
	a := h / m.Lambda
	u := -math.Expm1(-a) // 1 − φ
	return move{
		f: m.Lambda * u, phi: math.Exp(-a),
		q11: m.S * m.Lambda * m.Lambda * fadingVariance(a),
		q12: m.S * m.Lambda * u * u,
		q22: m.S * -math.Expm1(-2*a),
	}
}

// fadingVariance is 2a − 3 + 4e^(−a) − e^(−2a), which starts as ⅔a³: below ½ by its series
// Σ (−a)^k (4 − 2^k)/k! from k = 3, above it as 2(a − u) − u² with u = 1 − e^(−a).
func fadingVariance(a float64) float64 {
	if a >= 0.5 {
		u := -math.Expm1(-a)
		return 2*(a-u) - u*u
	}
	sum := 0.0
	term, two := a*a/2, 4.0 // |a^k/k!| and 2^k for k = 2
	for k := 3.0; k < 24; k++ {
		term *= -a / k
		two *= 2
		sum += term * (4 - two)
	}
	return sum
}

// ahead is the state after a move.
func (s *TrendState) ahead(m *move) TrendState {
	return TrendState{
		Level:    s.Level + m.f*s.Slope,
		Slope:    m.phi * s.Slope,
		LevelVar: max(0, s.LevelVar+2*m.f*s.Cov+m.f*m.f*s.SlopeVar) + m.q11,
		Cov:      m.phi*(s.Cov+m.f*s.SlopeVar) + m.q12,
		SlopeVar: m.phi*m.phi*s.SlopeVar + m.q22,
	}
}

// knownLevel is the variance below which a level counts as known: a reading without error of it says
// nothing more.
const knownLevel = 1e-30

// Smooth filters the visits forward and smooths them backward. The smoother of Rauch, Tung and Striebel
// (AIAA J 1965;3:1445-1450) is used in the form of Bryson and Frazier (1963), which gives the same and
// inverts no covariance, so that an error of 0 or a slope without variance is no special case. All
// results are finite. Errors say in words what is wrong with model, start or series.
func (m TrendModel) Smooth(start TrendStart, in TrendSeries) (*Trend, error) {
	if err := m.check(&start, &in); err != nil {
		return nil, err
	}
	t := &Trend{Visits: make([]TrendVisit, len(in.Weeks)), model: m}
	t.filter(start, &in)
	t.smooth(&in)
	return t, nil
}

func (t *Trend) filter(start TrendState, in *TrendSeries) {
	s := start
	for i := range t.Visits {
		if i > 0 {
			step := t.model.move(in.Weeks[i] - in.Weeks[i-1])
			s = s.ahead(&step)
		}
		v := &t.Visits[i]
		v.Week = in.Weeks[i]
		if f := s.LevelVar + in.SEs[i]*in.SEs[i]; f > knownLevel && (i > 0 || !in.FirstInStart) {
			e := in.Readings[i] - s.Level
			t.LogLikelihood -= (e*e/f + math.Log(2*math.Pi*f)) / 2
			// Until smoothing, later holds what its step back needs: the gain, the innovation, its precision.
			v.later = adjoint{r1: s.LevelVar / f, r2: s.Cov / f, n11: e, n22: 1 / f}
			s.read(e, f, in.SEs[i]*in.SEs[i])
		}
		v.Filtered = s
	}
}

// read updates the state by an innovation e of variance f, of which the reading's own error is v.
func (s *TrendState) read(e, f, v float64) {
	s.Level += s.LevelVar / f * e
	s.Slope += s.Cov / f * e
	s.SlopeVar = max(0, s.SlopeVar-s.Cov*s.Cov/f)
	s.LevelVar *= v / f
	s.Cov *= v / f
}

func (t *Trend) smooth(in *TrendSeries) {
	var next adjoint // of the later visits, taken back to this one
	for i := len(t.Visits) - 1; i >= 0; i-- {
		v := &t.Visits[i]
		v.Smoothed = v.Filtered.given(&next)
		v.later = next.beforeReading(&v.later)
		if i > 0 {
			step := t.model.move(in.Weeks[i] - in.Weeks[i-1])
			next = v.later.back(&step)
		}
	}
}

// beforeReading takes the adjoint back over a reading with the gain (r1, r2), the innovation n11 and its
// precision n22 of g; a visit without a reading has a precision of 0.
func (a *adjoint) beforeReading(g *adjoint) adjoint {
	if g.n22 == 0 {
		return *a
	}
	k := 1 - g.r1
	return adjoint{
		r1:  g.n11*g.n22 + k*a.r1 - g.r2*a.r2,
		r2:  a.r2,
		n11: g.n22 + k*k*a.n11 - 2*k*g.r2*a.n12 + g.r2*g.r2*a.n22,
		n12: k*a.n12 - g.r2*a.n22,
		n22: a.n22,
	}
}

// back takes the adjoint back over a move.
func (a *adjoint) back(m *move) adjoint {
	return adjoint{
		r1: a.r1, r2: m.f*a.r1 + m.phi*a.r2,
		n11: a.n11, n12: m.f*a.n11 + m.phi*a.n12,
		n22: m.f*m.f*a.n11 + 2*m.f*m.phi*a.n12 + m.phi*m.phi*a.n22,
	}
}

// given is the state with what later visits say of it.
func (s *TrendState) given(a *adjoint) TrendState {
	l1, l2 := s.LevelVar*a.n11+s.Cov*a.n12, s.LevelVar*a.n12+s.Cov*a.n22
	s1, s2 := s.Cov*a.n11+s.SlopeVar*a.n12, s.Cov*a.n12+s.SlopeVar*a.n22
	return TrendState{
		Level:    s.Level + s.LevelVar*a.r1 + s.Cov*a.r2,
		Slope:    s.Slope + s.Cov*a.r1 + s.SlopeVar*a.r2,
		LevelVar: max(0, s.LevelVar-l1*s.LevelVar-l2*s.Cov),
		Cov:      s.Cov - l1*s.Cov - l2*s.SlopeVar,
		SlopeVar: max(0, s.SlopeVar-s1*s.Cov-s2*s.SlopeVar),
	}
}

// Forecast is the state h ≥ 0 weeks after the last visit; the level is the true one, without the error
// of another reading.
func (t *Trend) Forecast(h float64) TrendState {
	step := t.model.move(max(0, h))
	return t.Visits[len(t.Visits)-1].Smoothed.ahead(&step)
}

// At is the smoothed state at any week: between visits as if one without a reading stood there, after
// the last one the forecast. ok is false before the first visit, of which the model says nothing.
func (t *Trend) At(week float64) (s TrendState, ok bool) {
	last := len(t.Visits) - 1
	if !(week >= t.Visits[0].Week) || math.IsInf(week, 1) {
		return s, false
	}
	lo, hi := 0, last+1 // the visit lo is at or before the week, hi after it
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; t.Visits[mid].Week <= week {
			lo = mid
		} else {
			hi = mid
		}
	}
	v := &t.Visits[lo]
	if v.Week == week {
		return v.Smoothed, true
	}
	step := t.model.move(week - v.Week)
	s = v.Filtered.ahead(&step)
	if hi > last {
		return s, true
	}
	step = t.model.move(t.Visits[hi].Week - week)
	a := t.Visits[hi].later.back(&step)
	return s.given(&a), true
}

// TrendPoint is a point of a band.
type TrendPoint struct {
	Week float64
	TrendState
}

// Band is the smoothed state at the weeks given, for drawing; weeks before the first visit are left out.
func (t *Trend) Band(weeks []float64) []TrendPoint {
	out := make([]TrendPoint, 0, len(weeks))
	for _, w := range weeks {
		if s, ok := t.At(w); ok {
			out = append(out, TrendPoint{w, s})
		}
	}
	return out
}

// trendLimit is the largest number that a series may hold: beyond it squares lose all meaning.
const trendLimit = 1e9

func usable(xs ...float64) bool {
	for _, x := range xs {
		if !(math.Abs(x) <= trendLimit) {
			return false
		}
	}
	return true
}

func (m *TrendModel) check(start *TrendState, in *TrendSeries) error {
	switch n := len(in.Weeks); {
	case n == 0:
		return errors.New("a trend needs at least one visit")
	case len(in.Readings) != n || len(in.SEs) != n:
		return fmt.Errorf("a trend needs a reading and a standard error for each of its %d visits; there are %d and %d", n, len(in.Readings), len(in.SEs))
	case !(m.Lambda >= 1e-6):
		return fmt.Errorf("the time in which a pace fades must be above 0 weeks, not %g", m.Lambda)
	case !usable(m.S, m.Q) || m.S < 0 || m.Q < 0:
		return errors.New("the variance of the slope must be a number from 0 up")
	case !usable(start.Level, start.Slope, start.Cov, start.LevelVar, start.SlopeVar) || start.LevelVar < 0 || start.SlopeVar < 0:
		return errors.New("the start of a trend needs finite means and variances from 0 up")
	case start.Cov*start.Cov > start.LevelVar*start.SlopeVar*(1+1e-9):
		return errors.New("the covariance of level and slope at the start is larger than their variances allow")
	}
	for i, w := range in.Weeks {
		switch {
		case !usable(w, in.Readings[i], in.SEs[i]):
			return fmt.Errorf("visit %d: week, reading and standard error must be numbers", i+1)
		case in.SEs[i] < 0:
			return fmt.Errorf("visit %d: the standard error is %g; it must be 0 or more", i+1, in.SEs[i])
		case i > 0 && w < in.Weeks[i-1]:
			return fmt.Errorf("visit %d is before the visit that it follows; visits go in order of time", i+1)
		}
	}
	return nil
}
