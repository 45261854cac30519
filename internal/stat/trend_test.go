package stat

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// reference reads one file of check values.
func reference(t testing.TB, file string, into any) {
	t.Helper()
	data, err := os.ReadFile("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

// tester is a *testing.T or a *rapid.T.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
}

func close2(t tester, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*max(1, math.Abs(want))) {
		t.Errorf("%s = %.15g, want %.15g (off by %.1e)", what, got, want, got-want)
	}
}

// Answers from NumPy 1.24.2: the same model solved as one joint Gaussian without recursion; see
// testdata/numerics.json.
func TestTrendAgainstJointGaussian(t *testing.T) {
	var ref struct {
		Trend struct {
			Weeks, Reading, SE []float64
			Q, M0, P0, S0      float64
			AheadWeeks         float64   `json:"ahead_weeks"`
			Level              []float64 `json:"level"`
			LevelSD            []float64 `json:"level_sd"`
			Slope              []float64 `json:"slope"`
			SlopeSD            []float64 `json:"slope_sd"`
			LogLikelihood      float64   `json:"log_likelihood"`
		}
	}
	reference(t, "numerics.json", &ref)
	r := &ref.Trend
	if len(r.Level) != 9 {
		t.Fatalf("%d levels, want 9", len(r.Level))
	}
	start := TrendStart{Level: r.M0, LevelVar: r.P0, SlopeVar: r.S0}
	series := TrendSeries{Weeks: r.Weeks, Readings: r.Reading, SEs: r.SE}
	for _, c := range []struct {
		name string
		m    TrendModel
		tol  float64
	}{
		{"integrated random walk", TrendModel{Lambda: math.Inf(1), Q: r.Q}, 1e-10},
		{"the fading slope far out", TrendModel{Lambda: 1e7, S: r.Q * 1e7 / 2}, 1e-5}, // differs by h/Λ
	} {
		tr, err := c.m.Smooth(start, series)
		if err != nil {
			t.Fatal(err)
		}
		states := []TrendState{tr.Forecast(r.AheadWeeks)}
		for i := len(tr.Visits) - 1; i >= 0; i-- {
			states = append([]TrendState{tr.Visits[i].Smoothed}, states...)
		}
		for i, s := range states {
			at := fmt.Sprintf("%s, visit %d: ", c.name, i+1)
			close2(t, at+"level", s.Level, r.Level[i], c.tol)
			close2(t, at+"level SD", s.LevelSD(), r.LevelSD[i], c.tol)
			close2(t, at+"slope", s.Slope, r.Slope[i], c.tol)
			close2(t, at+"slope SD", s.SlopeSD(), r.SlopeSD[i], c.tol)
		}
		close2(t, c.name+": log-likelihood", tr.LogLikelihood, r.LogLikelihood, c.tol)
	}
}

// bruteForce is the fading model without any recursion: the covariance of all levels and slopes from the
// continuous-time covariance function of an Ornstein-Uhlenbeck slope and its integral, conditioned on
// the readings through a Cholesky factor of the library.
type bruteForce struct {
	m  TrendModel
	s0 TrendStart
	t0 float64
}

func (b *bruteForce) gained(t float64) float64 {
	return b.m.Lambda * (1 - math.Exp(-(t-b.t0)/b.m.Lambda))
}
func (b *bruteForce) left(t float64) float64 { return math.Exp(-(t - b.t0) / b.m.Lambda) }

func (b *bruteForce) levels(t, u float64) float64 {
	l, a, c := b.m.Lambda, (t-b.t0)/b.m.Lambda, (u-b.t0)/b.m.Lambda
	stationary := b.m.S * l * l * (2*min(a, c) - 1 + math.Exp(-a) + math.Exp(-c) - math.Exp(-math.Abs(a-c)))
	return b.s0.LevelVar + stationary + (b.s0.SlopeVar-b.m.S)*b.gained(t)*b.gained(u) + b.s0.Cov*(b.gained(t)+b.gained(u))
}

func (b *bruteForce) levelSlope(t, u float64) float64 { // level at t, slope at u
	l, a, c := b.m.Lambda, (t-b.t0)/b.m.Lambda, (u-b.t0)/b.m.Lambda
	stationary := math.Exp(-(c - min(a, c))) - math.Exp(-c)
	if a > c {
		stationary += 1 - math.Exp(-(a - c))
	}
	return b.m.S*l*stationary + (b.s0.SlopeVar-b.m.S)*b.gained(t)*b.left(u) + b.s0.Cov*b.left(u)
}

func (b *bruteForce) slopes(t, u float64) float64 {
	return b.m.S*math.Exp(-math.Abs(t-u)/b.m.Lambda) + (b.s0.SlopeVar-b.m.S)*b.left(t)*b.left(u)
}

// at conditions level and slope at a week on the readings; ll is the log-likelihood of those.
func (b *bruteForce) at(t testing.TB, week float64, in TrendSeries) (s TrendState, ll float64) {
	n := len(in.Weeks)
	cov, res := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	cross := mat.NewDense(n, 2, nil)
	for i, w := range in.Weeks {
		for j := range i + 1 {
			cov.SetSym(i, j, b.levels(w, in.Weeks[j]))
		}
		cov.SetSym(i, i, cov.At(i, i)+in.SEs[i]*in.SEs[i])
		res.SetVec(i, in.Readings[i]-b.s0.Level-b.gained(w)*b.s0.Slope)
		cross.Set(i, 0, b.levels(week, w))
		cross.Set(i, 1, b.levelSlope(w, week))
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		t.Fatal("the covariance of the readings has no factor")
	}
	var k mat.Dense
	var v mat.VecDense
	if err := chol.SolveTo(&k, cross); err != nil {
		t.Fatal(err)
	}
	if err := chol.SolveVecTo(&v, res); err != nil {
		t.Fatal(err)
	}
	var drop mat.Dense
	drop.Mul(cross.T(), &k)
	s.Level = b.s0.Level + b.gained(week)*b.s0.Slope + mat.Dot(cross.ColView(0), &v)
	s.Slope = b.left(week)*b.s0.Slope + mat.Dot(cross.ColView(1), &v)
	s.LevelVar = b.levels(week, week) - drop.At(0, 0)
	s.Cov = b.levelSlope(week, week) - drop.At(0, 1)
	s.SlopeVar = b.slopes(week, week) - drop.At(1, 1)
	return s, -(mat.Dot(res, &v) + chol.LogDet() + float64(n)*math.Log(2*math.Pi)) / 2
}

func sameState(t tester, what string, got, want TrendState, tol float64) {
	t.Helper()
	close2(t, what+": level", got.Level, want.Level, tol)
	close2(t, what+": slope", got.Slope, want.Slope, tol)
	close2(t, what+": level variance", got.LevelVar, want.LevelVar, tol)
	close2(t, what+": slope variance", got.SlopeVar, want.SlopeVar, tol)
	close2(t, what+": covariance", got.Cov, want.Cov, tol)
}

// The fading model against the brute-force posterior above: at visits (two of them on one day), between
// them, and ahead.
func TestFadingTrendAgainstBruteForceGaussian(t *testing.T) {
	in := TrendSeries{
		Weeks:    []float64{2, 3, 3, 5.5, 6, 9, 14, 30},
		Readings: []float64{19, 17.5, 18.8, 14, 15.1, 11, 9.2, 10},
		SEs:      []float64{2.4, 3.1, 2.4, 1.9, 2.4, 2.4, 4, 2.2},
	}
	for _, m := range []TrendModel{{S: 4, Lambda: 6}, {S: 0.04, Lambda: 0.5}, {S: 1, Lambda: 80}, {S: 0, Lambda: 6}} {
		start := TrendStart{Level: 16, LevelVar: 20, Slope: -0.4, SlopeVar: 2.5, Cov: -1.1}
		tr, err := m.Smooth(start, in)
		if err != nil {
			t.Fatal(err)
		}
		brute := bruteForce{m, start, in.Weeks[0]}
		for _, w := range []float64{2, 2.7, 3, 4, 5.5, 6, 7.25, 9, 13, 14, 20, 29.5, 30, 32, 34} {
			want, ll := brute.at(t, w, in)
			got, ok := tr.At(w)
			if !ok {
				t.Fatalf("nothing at week %g", w)
			}
			sameState(t, fmt.Sprintf("S %g, Λ %g, week %g", m.S, m.Lambda, w), got, want, 1e-9)
			close2(t, "log-likelihood", tr.LogLikelihood, ll, 1e-10)
		}
		if got := len(tr.Band([]float64{0, 1.9, 2, 5, 40})); got != 3 {
			t.Errorf("band of %d points; those before the first visit are left out", got)
		}
	}
}

// With the first reading in the start, the rest is the same as filtering it from a flat start.
func TestFirstReadingIsUsedOnce(t *testing.T) {
	m := TrendModel{S: 4, Lambda: 6}
	in := TrendSeries{Weeks: []float64{0, 2, 5}, Readings: []float64{20, 17, 16}, SEs: []float64{3, 3, 2}}
	prior, w := TrendStart{Level: 9, LevelVar: 49, SlopeVar: 4}, 49.0/(49+9)
	all, err := m.Smooth(prior, in)
	if err != nil {
		t.Fatal(err)
	}
	in.FirstInStart = true
	once, err := m.Smooth(TrendStart{Level: 9 + w*(20-9), LevelVar: w * 9, SlopeVar: 4}, in)
	if err != nil {
		t.Fatal(err)
	}
	for i := range all.Visits {
		sameState(t, fmt.Sprint("visit ", i+1), once.Visits[i].Smoothed, all.Visits[i].Smoothed, 1e-12)
	}
	if !(once.LogLikelihood > all.LogLikelihood) {
		t.Error("a reading in the start still counts in the log-likelihood")
	}
}

// The variance of the level over a step: for short ones against its series summed from the smallest term
// up, for long ones against the formula as it is printed. The branches meet at ½.
func TestFadingVariance(t *testing.T) {
	for _, a := range []float64{1e-9, 1e-4, 0.01, 0.1, 0.3, 0.499999, 0.500001, 0.8} {
		terms := []float64{}
		fact, pow, two := 2.0, a*a, 4.0
		for k := 3; k < 40; k++ {
			fact *= float64(k)
			pow *= -a
			two *= 2
			terms = append(terms, pow*(4-two)/fact)
		}
		want := 0.0
		for i := len(terms) - 1; i >= 0; i-- {
			want += terms[i]
		}
		if got := fadingVariance(a); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("a = %g: %.17g, want %.17g", a, got, want)
		}
	}
	for _, a := range []float64{1, 3, 40, 1000} {
		close2(t, "plain formula", fadingVariance(a), 2*a-3+4*math.Exp(-a)-math.Exp(-2*a), 1e-13)
	}
}

func drawTrend(t *rapid.T) (TrendModel, TrendStart, TrendSeries) {
	m := TrendModel{S: rapid.Float64Range(0, 9).Draw(t, "S"), Lambda: rapid.Float64Range(0.5, 60).Draw(t, "Λ")}
	start := TrendStart{Level: rapid.Float64Range(-30, 30).Draw(t, "level"), LevelVar: rapid.Float64Range(0.1, 100).Draw(t, "level variance"),
		SlopeVar: rapid.Float64Range(0, 9).Draw(t, "slope variance")}
	var in TrendSeries
	week := rapid.Float64Range(0, 10).Draw(t, "first week")
	for range rapid.IntRange(1, 12).Draw(t, "visits") {
		in.Weeks = append(in.Weeks, week)
		in.Readings = append(in.Readings, rapid.Float64Range(-40, 40).Draw(t, "reading"))
		in.SEs = append(in.SEs, rapid.Float64Range(0.2, 6).Draw(t, "se"))
		week += rapid.Float64Range(0, 20).Draw(t, "gap")
	}
	in.FirstInStart = rapid.Bool().Draw(t, "first in start")
	return m, start, in
}

func smooth(t testing.TB, m TrendModel, start TrendStart, in TrendSeries) *Trend {
	t.Helper()
	tr, err := m.Smooth(start, in)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// A shift of all readings shifts the levels; a factor on readings, errors and √S is one on the trend.
func TestTrendShiftsAndScales(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m, start, in := drawTrend(rt)
		shift, c := rapid.Float64Range(-50, 50).Draw(rt, "shift"), rapid.Float64Range(0.01, 100).Draw(rt, "factor")
		tr := smooth(t, m, start, in)
		moved := TrendSeries{Weeks: in.Weeks, FirstInStart: in.FirstInStart}
		for i := range in.Weeks {
			moved.Readings = append(moved.Readings, c*(in.Readings[i]+shift))
			moved.SEs = append(moved.SEs, c*in.SEs[i])
		}
		m2 := m
		m2.S *= c * c
		other := smooth(t, m2, TrendStart{c * (start.Level + shift), c * c * start.LevelVar, 0, c * c * start.SlopeVar, 0}, moved)
		for i := range tr.Visits {
			a, b := tr.Visits[i].Smoothed, other.Visits[i].Smoothed
			sameState(t, "shifted and scaled", TrendState{b.Level/c - shift, b.LevelVar / c / c, b.Slope / c, b.SlopeVar / c / c, b.Cov / c / c}, a, 1e-8)
		}
	})
}

// One more visit, wherever it is, never widens the band at a fixed week.
func TestMoreVisitsNeverWidenTheBand(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m, start, in := drawTrend(rt)
		tr := smooth(t, m, start, in)
		k := rapid.IntRange(0, len(in.Weeks)-1).Draw(rt, "after visit")
		hi := in.Weeks[k] + 10
		if k+1 < len(in.Weeks) {
			hi = in.Weeks[k+1]
		}
		at := rapid.Float64Range(in.Weeks[k], hi).Draw(rt, "week of the new visit")
		put := func(s []float64, x float64) []float64 {
			return append(append(append([]float64{}, s[:k+1]...), x), s[k+1:]...)
		}
		more := smooth(t, m, start, TrendSeries{put(in.Weeks, at), put(in.Readings, rapid.Float64Range(-40, 40).Draw(rt, "new reading")),
			put(in.SEs, rapid.Float64Range(0, 9).Draw(rt, "new se")), in.FirstInStart})
		for _, w := range []float64{in.Weeks[0], in.Weeks[k], at, (in.Weeks[0] + at) / 2, in.Weeks[len(in.Weeks)-1], at + 4, at + 40} {
			a, _ := tr.At(w)
			b, _ := more.At(w)
			if b.LevelVar > a.LevelVar*(1+1e-9)+1e-9 || b.SlopeVar > a.SlopeVar*(1+1e-9)+1e-9 {
				rt.Fatalf("week %g: level variance %.12g → %.12g, slope variance %.12g → %.12g", w, a.LevelVar, b.LevelVar, a.SlopeVar, b.SlopeVar)
			}
		}
	})
}

// A step of h weeks is a step of a part of them and then of the rest (Chapman–Kolmogorov).
func TestStepsCompose(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := TrendModel{S: rapid.Float64Range(0, 9).Draw(rt, "S"), Lambda: math.Exp(rapid.Float64Range(-2, 14).Draw(rt, "ln Λ"))}
		if rapid.Bool().Draw(rt, "random walk") {
			m = TrendModel{Q: m.S, Lambda: math.Inf(1)}
		}
		h := rapid.Float64Range(0, 100).Draw(rt, "h")
		part := h * rapid.Float64Range(0, 1).Draw(rt, "share")
		s := TrendState{10, 5, -2, 3, 1}
		whole, one, two := m.move(h), m.move(part), m.move(h-part)
		half := s.ahead(&one)
		sameState(t, fmt.Sprintf("Λ %g, %g of %g weeks", m.Lambda, part, h), half.ahead(&two), s.ahead(&whole), 1e-11)
	})
}

// Whatever is odd but possible gives finite numbers and variances from 0 up.
func TestTrendNeverFails(t *testing.T) {
	long := func(n int, y, se func(i int) float64) (in TrendSeries) {
		for i := range n {
			in.Weeks, in.Readings, in.SEs = append(in.Weeks, float64(i)), append(in.Readings, y(i)), append(in.SEs, se(i))
		}
		return in
	}
	constant := func(x float64) func(int) float64 { return func(int) float64 { return x } }
	wave := func(i int) float64 { return 10 * math.Sin(float64(i)) }
	series := map[string]TrendSeries{
		"one visit":             long(1, wave, constant(2)),
		"500 visits":            long(500, wave, constant(2)),
		"identical readings":    long(500, constant(7), constant(2)),
		"no error":              long(40, wave, constant(0)),
		"an error now and then": long(40, wave, func(i int) float64 { return float64(i % 3) }),
		"huge gaps":             {Weeks: []float64{0, 500, 500, 1e6}, Readings: []float64{1, 30, -30, 4}, SEs: []float64{2, 2, 0, 2}},
		"one day":               {Weeks: []float64{3, 3, 3, 3}, Readings: []float64{1, 2, 3, 4}, SEs: []float64{0, 0, 1, 0}},
		"huge error":            long(5, wave, constant(1e9)),
	}
	for name, in := range series {
		for _, m := range []TrendModel{{S: 4, Lambda: 6}, {S: 0, Lambda: 6}, {S: 1e9, Lambda: 6}, {S: 4, Lambda: 1e-6}, {S: 4, Lambda: 1e12}, {Q: 0, Lambda: math.Inf(1)}, {Q: 1, Lambda: math.Inf(1)}} {
			for _, start := range []TrendStart{{}, {LevelVar: 9, SlopeVar: 4}, {LevelVar: 9, SlopeVar: 4, Cov: 6}, {LevelVar: 1e9}} {
				for _, in.FirstInStart = range []bool{false, true} {
					finiteTrend(t, fmt.Sprintf("%s, %+v, %+v", name, m, start), smooth(t, m, start, in))
				}
			}
		}
	}
}

func finiteTrend(t *testing.T, what string, tr *Trend) {
	t.Helper()
	last := tr.Visits[len(tr.Visits)-1].Week
	states := []TrendState{tr.Forecast(0), tr.Forecast(4), tr.Forecast(-1), tr.Forecast(1e4)}
	for i := range tr.Visits {
		states = append(states, tr.Visits[i].Filtered, tr.Visits[i].Smoothed)
	}
	for _, p := range tr.Band([]float64{0, 0.5, last / 3, last / 2, last, last + 1}) {
		states = append(states, p.TrendState)
	}
	sum := tr.LogLikelihood
	for _, s := range states {
		sum += s.Level + s.Slope + s.LevelSD() + s.SlopeSD() + s.Cov
		if s.LevelVar < 0 || s.SlopeVar < 0 {
			t.Fatalf("%s: negative variance in %+v", what, s)
		}
	}
	if math.IsNaN(sum) || math.IsInf(sum, 0) {
		t.Fatalf("%s: not finite", what)
	}
}

func TestTrendRefusesInWords(t *testing.T) {
	ok := TrendModel{S: 4, Lambda: 6}
	nan, start := math.NaN(), TrendStart{LevelVar: 9, SlopeVar: 4}
	one := func(w, y, se float64) TrendSeries {
		return TrendSeries{Weeks: []float64{w}, Readings: []float64{y}, SEs: []float64{se}}
	}
	for _, c := range []struct {
		m     TrendModel
		start TrendStart
		in    TrendSeries
		want  string
	}{
		{ok, start, TrendSeries{}, "a trend needs at least one visit"},
		{ok, start, TrendSeries{Weeks: []float64{1}, Readings: []float64{1, 2}}, "a trend needs a reading and a standard error for each of its 1 visits; there are 2 and 0"},
		{TrendModel{S: 4}, start, one(0, 1, 1), "the time in which a pace fades must be above 0 weeks, not 0"},
		{TrendModel{S: -1, Lambda: 6}, start, one(0, 1, 1), "the variance of the slope must be a number from 0 up"},
		{TrendModel{S: nan, Lambda: 6}, start, one(0, 1, 1), "the variance of the slope must be a number from 0 up"},
		{ok, TrendStart{LevelVar: -1}, one(0, 1, 1), "the start of a trend needs finite means and variances from 0 up"},
		{ok, TrendStart{LevelVar: 1, SlopeVar: 1, Cov: 1.1}, one(0, 1, 1), "the covariance of level and slope at the start is larger than their variances allow"},
		{ok, start, one(0, nan, 1), "visit 1: week, reading and standard error must be numbers"},
		{ok, start, one(0, math.Inf(1), 1), "visit 1: week, reading and standard error must be numbers"},
		{ok, start, one(0, 1, -1), "visit 1: the standard error is -1; it must be 0 or more"},
		{ok, start, TrendSeries{Weeks: []float64{3, 2}, Readings: []float64{1, 2}, SEs: []float64{1, 1}}, "visit 2 is before the visit that it follows; visits go in order of time"},
	} {
		if tr, err := c.m.Smooth(c.start, c.in); err == nil || err.Error() != c.want || tr != nil {
			t.Errorf("got %v, want %q", err, c.want)
		}
	}
}

func BenchmarkTrend50(b *testing.B) {
	var in TrendSeries
	for i := range 50 {
		in.Weeks, in.Readings, in.SEs = append(in.Weeks, float64(i)), append(in.Readings, 18-0.3*float64(i)), append(in.SEs, 2.4)
	}
	m, start := TrendModel{S: 4, Lambda: 6}, TrendStart{Level: 18, LevelVar: 6, SlopeVar: 4}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := m.Smooth(start, in); err != nil {
			b.Fatal(err)
		}
	}
}
