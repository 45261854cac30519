package stat

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// half is one condition on one variable.
func half(axis int, c, t float64) Clause {
	var k Clause
	k.N = 1
	k.H[0].C[axis] = c
	k.H[0].T = t
	return k
}

func drawGauss(t *rapid.T, n int) Gauss {
	g := Gauss{N: n}
	var a [MaxDim][MaxDim]float64
	for i := range n {
		g.Mean[i] = rapid.Float64Range(-2, 2).Draw(t, "mean")
		for j := range n {
			a[i][j] = rapid.Float64Range(-1, 1).Draw(t, "a")
		}
	}
	for i := range n {
		for j := range n {
			for k := range n {
				g.Cov[i][j] += a[i][k] * a[j][k]
			}
		}
		g.Cov[i][i] += 0.5
	}
	return g
}

// The quadrature against the lattice, two independent computations of the same probability: the sum
// of two correlated variables, each of them, and two of them at once, as at a shoulder.
func TestPlaneAgreesWithLattice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawGauss(t, 2)
		clauses := []Clause{half(0, 1, rapid.Float64Range(-2, 3).Draw(t, "t0")), half(1, -1, rapid.Float64Range(-2, 3).Draw(t, "t1"))}
		sum := Clause{N: 2}
		sum.H[0] = Half{C: [MaxDim]float64{1, 1}, T: rapid.Float64Range(-2, 3).Draw(t, "t2")}
		sum.H[1] = Half{C: [MaxDim]float64{1, 0}, T: rapid.Float64Range(-2, 3).Draw(t, "t3")}
		clauses = append(clauses, sum)
		q, l := g.ProbAny(clauses), g.Lattice(clauses)
		if math.Abs(q-l) > 0.003 {
			t.Fatalf("quadrature %.5f, lattice %.5f", q, l)
		}
	})
}

// The same for conditions on one variable each, where the answer is a box.
func TestBoxAgreesWithLattice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawGauss(t, 2)
		at := func(name string) float64 { return rapid.Float64Range(-2, 3).Draw(t, name) }
		clauses := []Clause{half(0, 1, at("t0")), half(0, -1, at("t1")), half(1, -2, at("t2"))}
		if q, l := g.ProbAny(clauses), g.Lattice(clauses); math.Abs(q-l) > 0.003 {
			t.Fatalf("box %.5f, lattice %.5f", q, l)
		}
	})
}

// Independent variables: the product is exact.
func TestIndependentIsProduct(t *testing.T) {
	g := Gauss{N: 3, Mean: [MaxDim]float64{0.3, -1, 2}}
	for i := range 3 {
		g.Cov[i][i] = float64(i + 1)
	}
	clauses := []Clause{half(0, 1, 1), half(1, 1, 0), half(1, -1, 3), half(2, 1, 2.5)}
	want := 1 - (1-Above(1, 0.3, 1))*(1-Above(0, -1, math.Sqrt2)-Above(3, 1, math.Sqrt2))*(1-Above(2.5, 2, math.Sqrt(3)))
	if got := g.ProbAny(clauses); math.Abs(got-want) > 1e-14 {
		t.Errorf("got %.16f, want %.16f", got, want)
	}
	if l := g.Lattice(clauses); math.Abs(l-want) > 0.003 {
		t.Errorf("lattice %.5f, want %.5f", l, want)
	}
}

// Lattice against equicorrelated orthants with a closed form: with correlation ½ the chance that none
// of n variables is above 0 is 1/(n + 1) (Gupta SS. Ann Math Stat 1963;34:792-828).
func TestLatticeEquicorrelated(t *testing.T) {
	for n := 3; n <= MaxDim; n++ {
		g := Gauss{N: n}
		var clauses []Clause
		for i := range n {
			for j := range n {
				g.Cov[i][j] = 0.5
			}
			g.Cov[i][i] = 1
			clauses = append(clauses, half(i, 1, 0))
		}
		want := 1 - 1/float64(n+1)
		if got := g.ProbAny(clauses); math.Abs(got-want) > 0.003 {
			t.Errorf("%d variables: %.5f, want %.5f", n, got, want)
		}
	}
}

// The posterior of two independent variables is that of each alone; with a flat prior it is the
// measurement.
func TestPosterior(t *testing.T) {
	m := Gauss{N: 2, Mean: [MaxDim]float64{25, 4}}
	m.Cov[0][0], m.Cov[1][1] = 4.142215590719537*4.142215590719537, 9
	p := Gauss{N: 2, Mean: [MaxDim]float64{8, 100}}
	p.Cov[0][0], p.Cov[1][1] = 49, 1
	post, ok := Posterior(&m, &p, [MaxDim]bool{true, false})
	if !ok {
		t.Fatal("no posterior")
	}
	// First row of side_difference in the reference file (numpy 1.24.2, scipy 1.10.1).
	for _, c := range []struct{ got, want float64 }{
		{post.Mean[0], 20.591079378971084}, {math.Sqrt(post.Cov[0][0]), 3.5648373482441373},
		{post.Mean[1], 4}, {post.Cov[1][1], 9}, {post.Cov[0][1], 0},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("got %.15g, want %.15g", c.got, c.want)
		}
	}
}

// Published examples: D = 30, ND = 25 in the catalogue of Bishop C et al. 2016 (values computed from
// its formulas), and the reversed pair.
func TestIndices(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"limb symmetry index", LimbSymmetryIndex(25, 30), 83.333},
		{"limb symmetry index, reversed", LimbSymmetryIndex(30, 25), 120},
		{"symmetry index", SymmetryIndex(30, 25), 18.182},
		{"symmetry index, reversed", SymmetryIndex(25, 30), -18.182},
		{"symmetry angle, right 30 left 25", SymmetryAngle(25, 30), 5.772},
		{"symmetry angle, reversed", SymmetryAngle(30, 25), -5.772},
	} {
		if math.Abs(c.got-c.want) > 5e-4 {
			t.Errorf("%s: %.4f, want %.3f", c.name, c.got, c.want)
		}
	}
}

func BenchmarkLattice5(b *testing.B) {
	g := Gauss{N: 5}
	var clauses []Clause
	for i := range 5 {
		for j := range 5 {
			g.Cov[i][j] = 0.3
		}
		g.Cov[i][i] = 1
		clauses = append(clauses, half(i, 1, 1))
	}
	b.ReportAllocs()
	for b.Loop() {
		g.Lattice(clauses)
	}
}
