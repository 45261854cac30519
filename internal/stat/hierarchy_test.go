package stat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"
)

// squad is an invented squad: differences around 8 with a spread of 6, read with errors of 3 to 4. The
// numbers are spread evenly over the distribution, so that nothing is drawn.
func squad(n int) (d, se []float64) {
	for i := range n {
		// a golden-ratio step, so that any first part of the squad is spread too
		_, u := math.Modf(float64(i+1) * 0.6180339887498949)
		_, w := math.Modf(float64(i+1) * 0.7548776662466927)
		s := 3 + w
		d = append(d, 8+math.Sqrt(36+s*s)*Quantile(u))
		se = append(se, s)
	}
	return d, se
}

// bruteHierarchy integrates the joint density of μ and ln ω, written out from the model, by Gauss-Legendre
// rules in both: moments of μ and ω, and for one athlete mean, second moment and P(θ > 13). lo and hi
// bound ln ω.
func bruteHierarchy(d, se []float64, density func(mu, omega float64) float64, lo, hi float64, i int) (out struct {
	mu, mu2, omega, omega2, theta, theta2, beyond float64
}) {
	const parts = 12 // pieces of ln ω, 16 points each; μ in 20 pieces
	normal := func(x, m, v float64) float64 { return math.Exp(-(x-m)*(x-m)/(2*v)) / math.Sqrt(2*math.Pi*v) }
	x, w := make([]float64, 16), make([]float64, 16)
	quad.Legendre{}.FixedLocations(x, w, 0, 1)
	total := 0.0
	for p := range parts {
		for a := range x {
			lw := lo + (hi-lo)*(float64(p)+x[a])/parts
			omega := math.Exp(lw)
			for q := range 20 {
				for b := range x {
					mu := -12 + 40*(float64(q)+x[b])/20
					f := w[a] * w[b] * density(mu, omega) * omega // dω = ω dln ω
					for j := range d {
						f *= normal(d[j], mu, omega*omega+se[j]*se[j]) * 10
					}
					k := omega * omega / (omega*omega + se[i]*se[i])
					m, v := mu+k*(d[i]-mu), k*se[i]*se[i]
					total += f
					out.mu += f * mu
					out.mu2 += f * mu * mu
					out.omega += f * omega
					out.omega2 += f * omega * omega
					out.theta += f * m
					out.theta2 += f * (v + m*m)
					out.beyond += f * math.Erfc((13-m)/math.Sqrt(2*v)) / 2
				}
			}
		}
	}
	for _, v := range []*float64{&out.mu, &out.mu2, &out.omega, &out.omega2, &out.theta, &out.theta2, &out.beyond} {
		*v /= total
	}
	return out
}

// The grid against two-dimensional integration, with a protocol's prior and without.
func TestHierarchyAgainstIntegration(t *testing.T) {
	prior := HierarchyPrior{Mean: 6, SD: 7, Known: true}
	normal := func(x, s float64) float64 { return math.Exp(-x*x/(2*s*s)) / s }
	for _, n := range []int{5, 12, 20, 60} {
		d, se := squad(n)
		typical := middle(sortedCopy(se))
		for name, c := range map[string]struct {
			prior   HierarchyPrior
			density func(mu, omega float64) float64 // of dμ dω
			lo, hi  float64
		}{
			"with a prior": {prior, func(mu, omega float64) float64 {
				return normal(mu-prior.Mean, prior.SD) * normal(math.Log(omega/prior.SD), 0.5) / omega
			}, math.Log(prior.SD) - 2.5, math.Log(prior.SD) + 2.5},
			"without": {HierarchyPrior{}, func(_, omega float64) float64 { return 1 / (1 + (omega/typical)*(omega/typical)) },
				math.Log(0.05 * typical), math.Log(10 * typical)},
		} {
			if n < SquadLeastAlone && !c.prior.Known {
				continue
			}
			g, err := Hierarchy(d, se, c.prior)
			if err != nil {
				t.Fatal(err)
			}
			want := bruteHierarchy(d, se, c.density, c.lo, c.hi, 1)
			m := g.Moments()
			beyond := 0.0
			p := g.Posterior(d[1], se[1], func(weight, mean, sd float64) { beyond += weight * Above(13, mean, sd) })
			at := fmt.Sprintf("%d athletes, %s: ", n, name)
			close2(t, at+"mean of μ", m.Mu.Mean, want.mu, 1e-3)
			close2(t, at+"SD of μ", m.Mu.SD, math.Sqrt(want.mu2-want.mu*want.mu), 2e-3)
			close2(t, at+"mean of ω", m.Omega.Mean, want.omega, 1e-3)
			close2(t, at+"SD of ω", m.Omega.SD, math.Sqrt(want.omega2-want.omega*want.omega), 3e-3)
			close2(t, at+"SD of a further athlete", m.New.SD, math.Sqrt(want.omega2+want.mu2-want.mu*want.mu), 2e-3)
			close2(t, at+"true difference", p.Mean, want.theta, 1e-3)
			close2(t, at+"its SD", p.SD, math.Sqrt(want.theta2-want.theta*want.theta), 1e-3)
			close2(t, at+"P(beyond 13)", beyond, want.beyond, 5e-4)
		}
	}
}

// In a squad without any spread the lower end of the grid counts.
func TestHierarchyWithoutSpread(t *testing.T) {
	d, se := make([]float64, 12), make([]float64, 12)
	for i := range d {
		d[i], se[i] = 8, 3
	}
	g, err := Hierarchy(d, se, HierarchyPrior{})
	if err != nil {
		t.Fatal(err)
	}
	want := bruteHierarchy(d, se, func(_, omega float64) float64 { return 1 / (1 + omega*omega/9) }, math.Log(0.15), math.Log(30), 0)
	m, p := g.Moments(), g.Posterior(8, 3, nil)
	close2(t, "mean of ω", m.Omega.Mean, want.omega, 1e-3)
	close2(t, "SD of ω", m.Omega.SD, math.Sqrt(want.omega2-want.omega*want.omega), 1e-3)
	close2(t, "true difference", p.Mean, 8, 1e-9)
	close2(t, "its SD", p.SD, math.Sqrt(want.theta2-want.theta*want.theta), 1e-3)
}

func sortedCopy(s []float64) []float64 {
	out := append([]float64{}, s...)
	for i := range out {
		for j := range i {
			if out[i] < out[j] {
				out[i], out[j] = out[j], out[i]
			}
		}
	}
	return out
}

// With many athletes what was known before no longer matters: mean and spread come near the restricted
// maximum likelihood, from both priors. In a crowd they stay within half a step of the grid, 4 % and 7 %
// of ω.
func TestHierarchyComesNearREML(t *testing.T) {
	for _, prior := range []HierarchyPrior{{Mean: 2, SD: 9, Known: true}, {}} {
		for n, tol := range map[int]float64{20: 0.8, 60: 0.25, 200: 0.06, 4000: 0.07 * 6} {
			d, se := squad(n)
			v := make([]float64, n)
			for i := range se {
				v[i] = se[i] * se[i]
			}
			reml, err := Shrink(d, v)
			if err != nil {
				t.Fatal(err)
			}
			g, err := Hierarchy(d, se, prior)
			if err != nil {
				t.Fatal(err)
			}
			m := g.Moments()
			if math.Abs(m.Mu.Mean-reml.Mu) > tol/2 || math.Abs(m.Omega.Mean-math.Sqrt(reml.Tau2)) > tol {
				t.Errorf("%d athletes: μ %.4f and %.4f, ω %.4f and %.4f", n, m.Mu.Mean, reml.Mu, m.Omega.Mean, math.Sqrt(reml.Tau2))
			}
		}
	}
}

// A squad shifted and scaled is the same squad in other units; order means nothing; the weights add up.
func TestHierarchyShiftsAndScales(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(12, 30).Draw(rt, "n")
		d := rapid.SliceOfN(rapid.Float64Range(-30, 30), n, n).Draw(rt, "d")
		se := rapid.SliceOfN(rapid.Float64Range(0.5, 8), n, n).Draw(rt, "se")
		prior := HierarchyPrior{Mean: 3, SD: 5, Known: rapid.Bool().Draw(rt, "prior")}
		shift, c := rapid.Float64Range(-20, 20).Draw(rt, "shift"), rapid.Float64Range(0.01, 50).Draw(rt, "factor")
		g, err := Hierarchy(d, se, prior)
		if err != nil {
			rt.Fatal(err)
		}
		var d2, se2 []float64
		for i := n - 1; i >= 0; i-- {
			d2, se2 = append(d2, c*(d[i]+shift)), append(se2, c*se[i])
		}
		g2, err := Hierarchy(d2, se2, HierarchyPrior{c * (prior.Mean + shift), c * prior.SD, prior.Known})
		if err != nil {
			rt.Fatal(err)
		}
		a, b := g.Posterior(d[0], se[0], nil), g2.Posterior(c*(d[0]+shift), c*se[0], nil)
		close2(rt, "mean", b.Mean/c-shift, a.Mean, 1e-8)
		close2(rt, "SD", b.SD/c, a.SD, 1e-8)
		sum := 0.0
		for _, p := range g {
			sum += p.Weight
		}
		close2(rt, "sum of the weights", sum, 1, 1e-12)
	})
}

func TestHierarchyDegenerate(t *testing.T) {
	known := HierarchyPrior{Mean: 8, SD: 7, Known: true}
	many := func(x float64, n int) (out []float64) {
		for range n {
			out = append(out, x)
		}
		return out
	}
	for _, c := range []struct {
		name  string
		d, se []float64
		prior HierarchyPrior
		want  string
	}{
		{"identical", many(8, 12), many(3, 12), HierarchyPrior{}, ""},
		{"identical, with a prior", many(8, 5), many(3, 5), known, ""},
		{"no errors", many(8, 5), many(0, 5), known, ""},
		{"far from the prior", many(1e9, 60), many(1e-3, 60), known, ""},
		{"no errors, no prior", many(8, 12), many(0, 12), HierarchyPrior{}, "nothing tells how far the spread may reach"},
		{"too few", many(8, 4), many(3, 4), known, "from 5 athletes on with the protocol's prior; there are 4"},
		{"too few alone", many(8, 11), many(3, 11), HierarchyPrior{}, "from 12 athletes on without a prior of the protocol; there are 11"},
		{"lengths", many(8, 5), many(3, 4), known, "5 differences and 4 standard errors"},
		{"prior", many(8, 5), many(3, 5), HierarchyPrior{Known: true}, "standard deviation above 0, not 0 and 0"},
		{"not a number", many(math.NaN(), 5), many(3, 5), known, "athlete 1: the difference or its standard error is not a number"},
		{"negative", many(8, 5), many(-3, 5), known, "athlete 1: the standard error is -3; it must be 0 or more"},
	} {
		g, err := Hierarchy(c.d, c.se, c.prior)
		says(t, err, c.want)
		if err != nil {
			continue
		}
		m, p := g.Moments(), g.Posterior(c.d[0], c.se[0], nil)
		if s := m.Mu.Mean + m.Mu.SD + m.Omega.Mean + m.Omega.SD + m.New.SD + p.Mean + p.SD; math.IsNaN(s) || math.IsInf(s, 0) {
			t.Errorf("%s: %+v %+v", c.name, m, p)
		}
	}
	if m := (Grid{}).Moments(); m != (GridMoments{}) {
		t.Errorf("an empty grid: %+v", m)
	}
}

func TestHierarchyPosteriorMakesNoGarbage(t *testing.T) {
	d, se := squad(20)
	g, err := Hierarchy(d, se, HierarchyPrior{Mean: 8, SD: 7, Known: true})
	if err != nil {
		t.Fatal(err)
	}
	p := 0.0
	if n := testing.AllocsPerRun(100, func() {
		g.Posterior(d[0], se[0], func(weight, mean, sd float64) { p += weight * Above(13, mean, sd) })
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// A squad of 60 with 40 measures: the grids, and every athlete's P from them.
func BenchmarkHierarchy60x40(b *testing.B) {
	d, se := squad(60)
	b.ReportAllocs()
	for b.Loop() {
		for range 40 {
			g, err := Hierarchy(d, se, HierarchyPrior{Mean: 8, SD: 7, Known: true})
			if err != nil {
				b.Fatal(err)
			}
			for i := range d {
				p := 0.0
				g.Posterior(d[i], se[i], func(weight, mean, sd float64) { p += weight * Above(13, mean, sd) })
			}
		}
	}
}

// One more athlete, weighed by the grid of the others, against the grid that he or she was counted in:
// with a prior of the protocol both are on the same values of ω, and the model is the same.
func TestFurtherIsBeingCounted(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	prior := HierarchyPrior{Mean: 8, SD: 7, Known: true}
	for _, n := range []int{5, 12, 30} {
		d, se := make([]float64, n+1), make([]float64, n+1)
		for i := range d {
			se[i] = 2 + 2*rng.Float64()
			d[i] = 4 + 9*rng.NormFloat64()
		}
		for _, last := range []float64{d[n], -30, 60} { // also far from all the others
			d[n] = last
			others, err := Hierarchy(d[:n], se[:n], prior)
			if err != nil {
				t.Fatal(err)
			}
			all, err := Hierarchy(d, se, prior)
			if err != nil {
				t.Fatal(err)
			}
			sum := 0.0
			got := others.Further(last, se[n], func(weight, _, sd float64) {
				sum += weight
				if !(sd > 0) {
					t.Errorf("SD %g", sd)
				}
			})
			want := all.Posterior(last, se[n], nil)
			if math.Abs(got.Mean-want.Mean) > 1e-6*se[n] || math.Abs(got.SD-want.SD) > 1e-6*se[n] || math.Abs(sum-1) > 1e-12 {
				t.Errorf("%d athletes, %g: %+v, counted %+v; weights sum to %g", n, last, got, want, sum)
			}
		}
		grid, err := Hierarchy(d[:n], se[:n], prior)
		if err != nil {
			t.Fatal(err)
		}
		if m := grid.Further(12, 0, nil); m.Mean != 12 || m.SD != 0 {
			t.Errorf("an exact reading: %+v", m)
		}
	}
}
