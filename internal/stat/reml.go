package stat

import (
	"errors"
	"fmt"
	"math"
)

// Mixed is data for a variance component model
//
//	y = Xβ + Σ Zₑuₑ + ε, uₑ ~ N(0, σₑ²I), εᵢ ~ N(0, σ²/Kᵢ)
//
// with any number of random effects, nested or crossed, balanced or not. An observation may be one
// trial, or the mean of Kᵢ trials; then WithinSS, the trials' sum of squares about their own means, and
// its WithinDF make the fit the same as that of the trials themselves.
type Mixed struct {
	Y        []float64
	K        []int       // trials behind each observation; nil: 1 each
	WithinSS float64     // Σ (trial − mean of its reading)², all readings
	WithinDF int         // Σ (Kᵢ − 1)
	X        [][]float64 // X[i]: the fixed effects' values of observation i; nil: a common mean only
	Groups   [][]int     // Groups[e][i]: level of effect e at observation i, from 0; −1: none
	Names    []string    // of the effects, for Notes; nil: effect 1, effect 2 …
}

// Fit is a variance component model fitted by restricted maximum likelihood. Variances are in the
// square of Y's unit and never below 0; one at 0 has AtZero set. An effect that the data cannot tell
// from the others has Confounded set and a variance of 0; Notes say with what.
type Fit struct {
	Beta           []float64   // fixed effects, in the order of X's columns; 0 where confounded
	BetaSE         []float64   // their standard errors
	BetaCov        [][]float64 // and covariance
	Var            []float64   // variance of each effect of Groups
	Residual       float64     // σ², of one trial
	SE             []float64   // standard errors of Var, then of Residual, from the expected information
	Cov            [][]float64 // their covariance
	AtZero         []bool      // which of Var are at the bound
	Confounded     []bool      // which of Var cannot be estimated
	ResidualAtZero bool
	ResidualKnown  bool    // false: no scatter is left to estimate the residual from
	LogLik         float64 // restricted log-likelihood of the trials; 0 where Residual is at zero
	Converged      bool
	Iterations     int
	Notes          []string
}

// DF is the degrees of freedom that a component is worth, 2σ⁴/var(σ̂²) (Satterthwaite FE. Biometrics
// Bull 1946;2:110-114); e counts the effects, then the residual. 0 if it is at zero or not estimated.
func (f *Fit) DF(e int) float64 {
	v := f.Residual
	if e < len(f.Var) {
		v = f.Var[e]
	}
	if v == 0 || f.SE[e] == 0 {
		return 0
	}
	return 2 * v * v / (f.SE[e] * f.SE[e])
}

// The least residual variance, as a share of all, and when the scoring stops: the gain in
// log-likelihood that the next step promises.
const (
	remlFloor = 1e-8
	remlGain  = 1e-14
	remlMost  = 200
)

// REML fits a variance component model by restricted maximum likelihood (Patterson HD, Thompson R.
// Biometrika 1971;58:545-554), by Newton's steps, or Fisher's where those lead
// nowhere, with step halving in the region of variances ≥ 0. It
// returns an error for lists of different lengths and values that are not finite; whatever the data
// cannot answer is said in the Fit.
func REML(d Mixed) (Fit, error) {
	if err := d.check(); err != nil {
		return Fit{}, err
	}
	c := d.cells()
	f := newFit(&d)
	c.prepare(f)
	if c.scale == 0 {
		c.still(f)
		return *f, nil
	}
	m := newRemlModel(c, allEffects(len(d.Groups)))
	kept := m.estimable(c, f)
	if len(kept) < len(d.Groups) {
		m = newRemlModel(c, kept)
	}
	theta, info := m.climb(f)
	m.report(c, theta, info, f)
	return *f, nil
}

func (d *Mixed) check() error {
	n := len(d.Y)
	if n == 0 {
		return errors.New("stat: no observations")
	}
	if d.K != nil && len(d.K) != n || d.X != nil && len(d.X) != n {
		return fmt.Errorf("stat: K and X need one entry for each of %d observations", n)
	}
	for i, y := range d.Y {
		if math.IsNaN(y) || math.IsInf(y, 0) {
			return fmt.Errorf("stat: observation %d is not a number", i+1)
		}
		if d.K != nil && d.K[i] < 1 {
			return fmt.Errorf("stat: observation %d has no trials", i+1)
		}
		if d.X == nil {
			continue
		}
		if len(d.X[i]) != len(d.X[0]) {
			return fmt.Errorf("stat: row %d of X has %d values, want %d", i+1, len(d.X[i]), len(d.X[0]))
		}
		for _, x := range d.X[i] {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return fmt.Errorf("stat: row %d of X holds a value that is not a number", i+1)
			}
		}
	}
	for e, g := range d.Groups {
		if len(g) != n {
			return fmt.Errorf("stat: %s has %d levels given, want %d", d.name(e), len(g), n)
		}
	}
	if d.WithinSS < 0 || d.WithinDF < 0 || math.IsNaN(d.WithinSS) || math.IsInf(d.WithinSS, 0) {
		return errors.New("stat: the sum of squares within readings must be a number ≥ 0")
	}
	return nil
}

func (d *Mixed) name(e int) string {
	if e < len(d.Names) {
		return d.Names[e]
	}
	return fmt.Sprintf("effect %d", e+1)
}

func newFit(d *Mixed) *Fit {
	p, r := 1, len(d.Groups)
	if d.X != nil {
		p = len(d.X[0])
	}
	f := &Fit{Beta: make([]float64, p), BetaSE: make([]float64, p), BetaCov: square(p), Var: make([]float64, r),
		SE: make([]float64, r+1), Cov: square(r + 1), AtZero: make([]bool, r), Confounded: make([]bool, r)}
	return f
}

func square(n int) [][]float64 { return table(n, n) }

func table(rows, columns int) [][]float64 {
	s, all := make([][]float64, rows), make([]float64, rows*columns)
	for i := range s {
		s[i] = all[i*columns : (i+1)*columns : (i+1)*columns]
	}
	return s
}

func allEffects(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

// report puts the result back into the unit of the data.
func (m *remlModel) report(c *remlCells, theta []float64, info [][]float64, f *Fit) {
	at := m.at(theta)
	r, s2 := len(m.effects), c.scale*c.scale
	for i, e := range m.effects {
		f.Var[e] = theta[i] * s2
		f.AtZero[e] = theta[i] == 0
	}
	f.ResidualKnown, f.Residual, f.ResidualAtZero = true, theta[r]*s2, theta[r] <= remlFloor
	cov, ok := symInverse(info)
	if !ok {
		f.Notes = append(f.Notes, "The standard errors of the variances could not be worked out.")
	}
	place := append(append([]int(nil), m.effects...), len(f.Var))
	for i := range place {
		for j := range place {
			f.Cov[place[i]][place[j]] = cov[i][j] * s2 * s2
		}
		f.SE[place[i]] = math.Sqrt(max(0, cov[i][i])) * s2
	}
	c.reportBeta(at, f)
	f.LogLik = at.loglik - c.loglikShift()
	if f.ResidualAtZero {
		f.Residual, f.LogLik = 0, 0
		f.Notes = append(f.Notes, "No scatter is left for single readings: their variance is at zero.")
	}
	if !f.Converged {
		f.Notes = append(f.Notes, fmt.Sprintf("The fit had not settled after %d steps.", f.Iterations))
	}
}

// REMLStandardErrors are the standard errors that REML's estimates would have, by the expected
// information, if the variances of the effects and the residual were those given: what a study is worth,
// whatever it found. The order is that of Fit.SE; 0 where an effect cannot be estimated. Errors are
// those of REML, or say that no variance can be told.
func REMLStandardErrors(d Mixed, variances []float64, residual float64) ([]float64, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	if len(variances) != len(d.Groups) || !(residual > 0) {
		return nil, errors.New("stat: a variance for each effect is needed, and a residual one above 0")
	}
	c, f := d.cells(), newFit(&d)
	c.prepare(f)
	if c.trials <= float64(len(c.kept)) {
		return nil, errors.New("stat: no more observations than means to estimate")
	}
	total := residual
	for _, v := range variances {
		total += v
	}
	c.scale = math.Sqrt(total)
	all := newRemlModel(c, allEffects(len(d.Groups)))
	kept := all.estimable(c, f)
	m := all
	if len(kept) < len(d.Groups) {
		m = newRemlModel(c, kept)
	}
	theta := make([]float64, 0, len(kept)+1)
	for _, e := range kept {
		theta = append(theta, max(0, variances[e])/total)
	}
	theta = append(theta, max(remlFloor, residual/total))
	out := make([]float64, len(d.Groups)+1)
	at := m.at(theta)
	if !at.ok {
		return nil, errors.New("stat: the covariance cannot be inverted")
	}
	cov, _ := symInverse(m.slope(theta, at).info)
	for i, e := range append(kept, len(d.Groups)) {
		out[e] = math.Sqrt(max(0, cov[i][i])) * total
	}
	return out, nil
}
