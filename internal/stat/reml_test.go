package stat

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// nested numbers the pairs of a and b.
func nested(a, b []int) []int {
	known := map[[2]int]int{}
	out := make([]int, len(a))
	for i := range a {
		k := [2]int{a[i], b[i]}
		if _, ok := known[k]; !ok {
			known[k] = len(known)
		}
		out[i] = known[k]
	}
	return out
}

func mustFit(t testing.TB, d Mixed) Fit {
	t.Helper()
	f, err := REML(d)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

type nestedRef struct {
	Athlete, Session []int
	Y                []float64
	Mean             float64
	VarAthlete       float64 `json:"var_athlete"`
	VarSession       float64 `json:"var_session"`
	VarTrial         float64 `json:"var_trial"`
	Tolerance        float64
}

func (r *nestedRef) mixed() Mixed {
	return Mixed{Y: r.Y, Groups: [][]int{r.Athlete, nested(r.Athlete, r.Session)}, Names: []string{"athlete", "session"}}
}

// R 4.2.2, lme4 1.1.31: athlete, session in athlete, trial. lme4 stops its search at about five digits
// (see the exact values of the balanced data in the next test); the tolerance of the file is wider.
func TestREMLNestedAgainstLme4(t *testing.T) {
	var ref struct {
		V struct {
			Balanced, WithMissing nestedRef
			Missing               nestedRef `json:"with_missing"`
		} `json:"variance_components"`
	}
	loadRefs(t, "statistics.json", &ref)
	for name, r := range map[string]nestedRef{"balanced": ref.V.Balanced, "with missing": ref.V.Missing} {
		if len(r.Y) < 60 || r.Tolerance == 0 {
			t.Fatal("no reference")
		}
		f := mustFit(t, r.mixed())
		near(t, name+" athlete", f.Var[0], r.VarAthlete, 1e-5)
		near(t, name+" session", f.Var[1], r.VarSession, 1e-6)
		near(t, name+" trial", f.Residual, r.VarTrial, 1e-6)
		near(t, name+" mean", f.Beta[0], r.Mean, 1e-8)
		if !f.Converged || f.AtZero[0] || f.AtZero[1] || len(f.Notes) > 0 {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// Balanced nested data: the estimates from the mean squares are the REML ones (Searle SR, Casella G,
// McCulloch CE. Variance components. 1992, chapter 4).
func TestREMLBalancedIsAnova(t *testing.T) {
	var ref struct {
		V struct{ Balanced nestedRef } `json:"variance_components"`
	}
	loadRefs(t, "statistics.json", &ref)
	y := ref.V.Balanced.Y // 12 athletes, 2 sessions, 3 trials
	mean := func(v []float64) float64 {
		s := 0.0
		for _, x := range v {
			s += x
		}
		return s / float64(len(v))
	}
	var msa, mss, mse float64
	for a := range 12 {
		ya := y[6*a : 6*a+6]
		msa += 6 * math.Pow(mean(ya)-mean(y), 2) / 11
		for s := range 2 {
			ys := ya[3*s : 3*s+3]
			mss += 3 * math.Pow(mean(ys)-mean(ya), 2) / 12
			for _, x := range ys {
				mse += math.Pow(x-mean(ys), 2) / 48
			}
		}
	}
	f := mustFit(t, ref.V.Balanced.mixed())
	near(t, "athlete", f.Var[0], (msa-mss)/6, 1e-11)
	near(t, "session", f.Var[1], (mss-mse)/3, 1e-11)
	near(t, "trial", f.Residual, mse, 1e-11)
	near(t, "SE of trial", f.SE[2], mse*math.Sqrt(2.0/48), 1e-9)
	near(t, "degrees of freedom of the trials", f.DF(2), 48, 1e-9)
	// The session's variance is (MSS − MSE)/3 with independent mean squares.
	near(t, "SE of session", f.SE[1], math.Sqrt(2*mss*mss/12+2*mse*mse/48)/3, 1e-9)
}

type lmeRef struct {
	Components map[string]float64
	Beta       []float64
	BetaSE     []float64 `json:"beta_se"`
	LogLik     float64
	Batch      []int
	Plate      []int
	Sample     []int
	Athlete    []int
	Session    []int
	Y          []float64
}

func (r *lmeRef) compare(t *testing.T, name string, f Fit, effects ...string) {
	t.Helper()
	for e, id := range effects {
		near(t, name+" "+id, f.Var[e], r.Components[id], 1e-4)
		if f.AtZero[e] != (r.Components[id] == 0) {
			t.Errorf("%s %s: at zero %v, variance %g", name, id, f.AtZero[e], r.Components[id])
		}
	}
	near(t, name+" residual", f.Residual, r.Components["Residual"], 1e-4)
	near(t, name+" log-likelihood", f.LogLik, r.LogLik, 1e-9)
	for i := range r.Beta {
		near(t, name+" beta", f.Beta[i], r.Beta[i], 1e-6)
		near(t, name+" SE of beta", f.BetaSE[i], r.BetaSE[i], 1e-4)
	}
	if !f.Converged {
		t.Errorf("%s: did not converge", name)
	}
}

// Published data sets, a component at zero, crossed and unbalanced effects, and a fixed effect: R
// 4.2.2, lme4 1.1.31 with REML. The likelihoods agree to nine digits, the places of their tops to four.
func TestREMLAgainstLme4(t *testing.T) {
	var ref struct {
		Dyestuff, Dyestuff2, Penicillin, Crossed, Fixed, Zero lmeRef
		Data                                                  struct {
			Athlete, Side, Placing, Examiner []int
			Y                                []float64
		}
	}
	loadRefs(t, "mixed.json", &ref)
	for name, r := range map[string]*lmeRef{"Dyestuff": &ref.Dyestuff, "Dyestuff2": &ref.Dyestuff2} {
		r.compare(t, name, mustFit(t, Mixed{Y: r.Y, Groups: [][]int{r.Batch}}), "Batch")
	}
	p := &ref.Penicillin
	p.compare(t, "Penicillin", mustFit(t, Mixed{Y: p.Y, Groups: [][]int{p.Plate, p.Sample}}), "plate", "sample")
	z := &ref.Zero
	z.compare(t, "zero", mustFit(t, Mixed{Y: z.Y, Groups: [][]int{z.Athlete, nested(z.Athlete, z.Session)}}), "ath", "se")
	d := &ref.Data
	side := nested(d.Athlete, d.Side)
	placing := nested(side, d.Placing)
	m := Mixed{Y: d.Y, Groups: [][]int{d.Athlete, side, placing, d.Examiner}}
	ref.Crossed.compare(t, "crossed", mustFit(t, m), "ath", "as_", "pl", "ex")
	m.Groups = m.Groups[:3]
	for _, s := range d.Side {
		m.X = append(m.X, []float64{1, float64(s - 1)})
	}
	ref.Fixed.compare(t, "fixed", mustFit(t, m), "ath", "as_", "pl")
}

// Readings given as means of their trials, with the sum of squares within, are the trials themselves.
func TestREMLOfMeansIsThatOfTrials(t *testing.T) {
	trials := drawn(17, 2, 2, 3)
	means := collapse(trials, 2)
	a, b := mustFit(t, trials), mustFit(t, means)
	sameFit(t, a, b, 1, 0, 1e-9)
	near(t, "log-likelihood", b.LogLik, a.LogLik, 1e-9)
	if len(means.Y)*3 != len(trials.Y) {
		t.Errorf("%d means of %d trials", len(means.Y), len(trials.Y))
	}
}

// drawn is invented data of a retest: athlete, side in athlete, placing in side, trials.
func drawn(athletes, sides, placings, trials int) Mixed {
	rng := rand.New(rand.NewPCG(uint64(athletes), uint64(trials)))
	d := Mixed{Groups: make([][]int, 3), Names: []string{"athlete", "side", "placing"}}
	side, placing := 0, 0
	for a := range athletes {
		ya := 50 + 8*rng.NormFloat64()
		for range sides {
			ys := ya + 4*rng.NormFloat64()
			for range placings {
				yp := ys + 2*rng.NormFloat64()
				for range trials {
					d.Y = append(d.Y, yp+1.5*rng.NormFloat64())
					d.Groups[0] = append(d.Groups[0], a)
					d.Groups[1] = append(d.Groups[1], side)
					d.Groups[2] = append(d.Groups[2], placing)
				}
				placing++
			}
			side++
		}
	}
	return d
}

// collapse makes one observation of all trials that share a level of effect e.
func collapse(d Mixed, e int) Mixed {
	c := Mixed{Groups: make([][]int, len(d.Groups)), Names: d.Names}
	at := map[int]int{}
	for i, l := range d.Groups[e] {
		j, known := at[l]
		if !known {
			j = len(c.Y)
			at[l] = j
			c.Y, c.K = append(c.Y, 0), append(c.K, 0)
			for g := range c.Groups {
				c.Groups[g] = append(c.Groups[g], d.Groups[g][i])
			}
		}
		c.Y[j] += d.Y[i]
		c.K[j]++
	}
	for j := range c.Y {
		c.Y[j] /= float64(c.K[j])
	}
	for i, l := range d.Groups[e] {
		r := d.Y[i] - c.Y[at[l]]
		c.WithinSS += r * r
	}
	c.WithinDF = len(d.Y) - len(c.Y)
	return c
}

// sameFit fails unless b is a with values times scale plus shift.
func sameFit(t checker, a, b Fit, scale, shift, tol float64) {
	t.Helper()
	total := a.Residual
	for _, v := range a.Var {
		total += v
	}
	for e := range a.Var {
		if math.Abs(b.Var[e]-scale*scale*a.Var[e]) > tol*scale*scale*total {
			t.Errorf("variance %d: %.12g, want %.12g", e, b.Var[e], scale*scale*a.Var[e])
		}
		if a.Confounded[e] != b.Confounded[e] {
			t.Errorf("effect %d: confounded %v and %v", e, a.Confounded[e], b.Confounded[e])
		}
	}
	if math.Abs(b.Residual-scale*scale*a.Residual) > tol*scale*scale*total {
		t.Errorf("residual: %.12g, want %.12g", b.Residual, scale*scale*a.Residual)
	}
	near(t, "mean", b.Beta[0], scale*a.Beta[0]+shift, 1e-7)
}

// anyMixed draws unbalanced data: up to four effects, nested or crossed, levels missing now and then.
func anyMixed(t *rapid.T) Mixed {
	n := rapid.IntRange(3, 40).Draw(t, "observations")
	effects := rapid.IntRange(1, 4).Draw(t, "effects")
	seed := rapid.Uint64().Draw(t, "seed")
	rng := rand.New(rand.NewPCG(seed, 1))
	d := Mixed{Groups: make([][]int, effects)}
	size := make([]int, effects)
	level := make([][]float64, effects)
	for e := range effects {
		size[e] = rapid.IntRange(1, 9).Draw(t, "levels")
		sd := rapid.SampledFrom([]float64{0, 0.5, 3}).Draw(t, "sd")
		for range size[e] {
			level[e] = append(level[e], sd*rng.NormFloat64())
		}
	}
	for range n {
		y := rng.NormFloat64()
		for e := range effects {
			l := rng.IntN(size[e]+1) - 1
			d.Groups[e] = append(d.Groups[e], l)
			if l >= 0 {
				y += level[e][l]
			}
		}
		k := 1 + rng.IntN(3)
		d.Y, d.K = append(d.Y, math.Round(100*y)/100), append(d.K, k)
		d.WithinDF += k - 1
		for range k - 1 {
			d.WithinSS += math.Pow(rng.NormFloat64(), 2)
		}
	}
	return d
}

// Order of rows, a constant added and a change of unit change nothing but the numbers' scale; and no
// figure is ever not finite.
func TestREMLInvariance(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := anyMixed(rt)
		a, err := REML(d)
		if err != nil {
			rt.Fatal(err)
		}
		finite(rt, a)
		if !a.Converged {
			rt.Errorf("not converged: %+v", a)
		}
		scale := rapid.SampledFrom([]float64{0.01, 3, 1000}).Draw(rt, "scale")
		shift := rapid.Float64Range(-500, 500).Draw(rt, "shift")
		order := rapid.Permutation(allEffects(len(d.Y))).Draw(rt, "order")
		other := Mixed{WithinSS: d.WithinSS * scale * scale, WithinDF: d.WithinDF, Groups: make([][]int, len(d.Groups))}
		for _, i := range order {
			other.Y = append(other.Y, scale*d.Y[i]+shift)
			other.K = append(other.K, d.K[i])
			for e := range d.Groups {
				other.Groups[e] = append(other.Groups[e], d.Groups[e][i])
			}
		}
		b, err := REML(other)
		if err != nil {
			rt.Fatal(err)
		}
		tol := 1e-6
		if a.ResidualAtZero {
			tol = 1e-3 // the covariance is singular there but for a hundred-millionth
		}
		sameFit(rt, a, b, scale, shift, tol)
	})
}

func finite(t checker, f Fit) {
	t.Helper()
	all := append([]float64{f.Residual, f.LogLik}, f.Var...)
	all = slices.Concat(all, f.SE, f.Beta, f.BetaSE)
	for _, row := range append(f.Cov, f.BetaCov...) {
		all = append(all, row...)
	}
	for _, x := range all {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("not finite: %+v", f)
		}
	}
	for e, v := range f.Var {
		if v < 0 || f.Confounded[e] && v != 0 {
			t.Errorf("variance %d is %g", e, v)
		}
	}
}
