package stat

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Crossed and balanced: with positive estimates REML is what the mean squares of Shrout and Fleiss's
// table give: (BMS − EMS)/k, (JMS − EMS)/n, EMS.
func TestREMLCrossedIsAnova(t *testing.T) {
	table := [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}}
	two, err := NewTwoWay(table)
	if err != nil {
		t.Fatal(err)
	}
	d := Mixed{Groups: make([][]int, 2)}
	for i, row := range table {
		for j, y := range row {
			d.Y = append(d.Y, y)
			d.Groups[0], d.Groups[1] = append(d.Groups[0], i), append(d.Groups[1], j)
		}
	}
	f := mustFit(t, d)
	near(t, "targets", f.Var[0], (two.BMS-two.EMS)/4, 1e-10)
	near(t, "judges", f.Var[1], (two.JMS-two.EMS)/6, 1e-10)
	near(t, "residual", f.Residual, two.EMS, 1e-10)
	// The mean's variance is (BMS + JMS − EMS)/nk.
	near(t, "SE of the mean", f.BetaSE[0], math.Sqrt((two.BMS+two.JMS-two.EMS)/24), 1e-10)
}

// Data that leave something open: an answer in words, no failure and no figure that is not finite.
func TestREMLDegenerate(t *testing.T) {
	for name, c := range map[string]struct {
		d          Mixed
		confounded []bool
		zero       []bool
		residual   float64
		note       string
	}{
		"one observation": {Mixed{Y: []float64{7}, Groups: [][]int{{0}}}, []bool{true}, []bool{false}, 0, "no more observations than means"},
		"identical values": {Mixed{Y: []float64{7.1, 7.1, 7.1, 7.1}, Groups: [][]int{{0, 0, 1, 1}}},
			[]bool{false}, []bool{true}, 0, "All values are the same"},
		"identical trials too": {Mixed{Y: []float64{7.1, 7.1}, K: []int{3, 3}, WithinDF: 4, Groups: [][]int{{0, 1}}},
			[]bool{false}, []bool{true}, 0, "All values are the same"},
		"one level only": {Mixed{Y: []float64{1, 2, 4, 5}, Groups: [][]int{{0, 0, 0, 0}}, Names: []string{"athlete"}},
			[]bool{true}, []bool{false}, 10.0 / 3, "Of athlete there is one level only"},
		"no level": {Mixed{Y: []float64{1, 2, 4, 5}, Groups: [][]int{{-1, -1, -1, -1}}},
			[]bool{true}, []bool{false}, 10.0 / 3, "one level only"},
		"as many levels as observations": {Mixed{Y: []float64{1, 2, 4, 5}, Groups: [][]int{{0, 1, 2, 3}}, Names: []string{"placing"}},
			[]bool{true}, []bool{false}, 10.0 / 3, "placing cannot be told from the scatter of single readings"},
		"two effects that are one": {Mixed{Y: []float64{1, 2, 4, 6}, Groups: [][]int{{0, 0, 1, 1}, {5, 5, 9, 9}}, Names: []string{"athlete", "day"}},
			[]bool{false, true}, []bool{false, false}, 1.25, "day cannot be told from athlete"},
		"two athletes": {Mixed{Y: []float64{1, 2, 4, 6}, Groups: [][]int{{0, 0, 1, 1}}},
			[]bool{false}, []bool{false}, 1.25, ""},
		"identical repeats": {Mixed{Y: []float64{1, 1, 4, 4, 9, 9}, Groups: [][]int{{0, 0, 1, 1, 2, 2}}},
			[]bool{false}, []bool{false}, 0, "No scatter is left"},
		"an effect told by the means": {Mixed{Y: []float64{1, 2, 4, 6}, X: [][]float64{{1, 0}, {1, 0}, {0, 1}, {0, 1}}, Groups: [][]int{{0, 0, 1, 1}}},
			[]bool{true}, []bool{false}, 1.25, "from the means"},
	} {
		f, err := REML(c.d)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		finite(t, f)
		for e := range c.confounded {
			if f.Confounded[e] != c.confounded[e] || f.AtZero[e] != c.zero[e] {
				t.Errorf("%s: effect %d: confounded %v, at zero %v", name, e, f.Confounded[e], f.AtZero[e])
			}
		}
		near(t, name+": residual", f.Residual, c.residual, 1e-9)
		if !f.Converged || !strings.Contains(strings.Join(f.Notes, " "), c.note) {
			t.Errorf("%s: converged %v, notes %q", name, f.Converged, f.Notes)
		}
	}
}

// Three identical repeats within athletes: all variance is between them.
func TestREMLIdenticalRepeats(t *testing.T) {
	f := mustFit(t, Mixed{Y: []float64{1, 1, 4, 4, 10, 10}, Groups: [][]int{{0, 0, 1, 1, 2, 2}}})
	near(t, "between", f.Var[0], 21, 1e-6) // the sample variance of 1, 4, 10
	if !f.ResidualAtZero || f.Residual != 0 {
		t.Errorf("residual %g, at zero %v", f.Residual, f.ResidualAtZero)
	}
}

// A column of X that repeats another gets no coefficient; the rest is as without it.
func TestREMLDependentColumns(t *testing.T) {
	d := drawn(8, 2, 2, 2)
	for i := range d.Y {
		d.X = append(d.X, []float64{1, float64(d.Groups[1][i] % 2)})
	}
	a := mustFit(t, d)
	for i, x := range d.X {
		d.X[i] = []float64{x[0], 2 * x[0], x[1]}
	}
	b := mustFit(t, d)
	sameFit(t, a, b, 1, 0, 1e-10)
	near(t, "side", b.Beta[2], a.Beta[1], 1e-9)
	if b.Beta[1] != 0 || len(b.Notes) != 1 {
		t.Errorf("%+v", b)
	}
	near(t, "log-likelihood", b.LogLik, a.LogLik, 1e-12)
}

func TestREMLRefuses(t *testing.T) {
	for name, d := range map[string]Mixed{
		"nothing":             {},
		"not a number":        {Y: []float64{1, math.NaN()}},
		"lists of two sizes":  {Y: []float64{1, 2}, Groups: [][]int{{0}}},
		"K of another size":   {Y: []float64{1, 2}, K: []int{1}},
		"K of zero":           {Y: []float64{1, 2}, K: []int{1, 0}},
		"X ragged":            {Y: []float64{1, 2}, X: [][]float64{{1}, {1, 2}}},
		"X not finite":        {Y: []float64{1, 2}, X: [][]float64{{1}, {math.Inf(1)}}},
		"negative sum within": {Y: []float64{1, 2}, WithinSS: -1},
	} {
		if _, err := REML(d); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// The mean of the estimates over 300 drawn studies of 30 athletes is the truth, within three standard
// errors, and their spread is what the fit's own standard errors say.
func TestREMLRecoversTheTruth(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	const studies = 300
	truth := [4]float64{64, 16, 6.25, 2.25}
	var sum, square, said [4]float64
	for range studies {
		d := Mixed{Groups: make([][]int, 3)}
		for a := range 30 {
			ya := 8 * rng.NormFloat64()
			for s := range 2 {
				ys := ya + 4*rng.NormFloat64()
				for p := range 2 {
					yp := ys + 2.5*rng.NormFloat64()
					for range 2 {
						d.Y = append(d.Y, yp+1.5*rng.NormFloat64())
						for e, l := range []int{a, 2*a + s, 4*a + 2*s + p} {
							d.Groups[e] = append(d.Groups[e], l)
						}
					}
				}
			}
		}
		f := mustFit(t, d)
		for e, v := range append(f.Var, f.Residual) {
			sum[e] += v / studies
			square[e] += (v - truth[e]) * (v - truth[e]) / studies
			said[e] += f.SE[e] * f.SE[e] / studies
		}
	}
	for e := range truth {
		if math.Abs(sum[e]-truth[e]) > 3*math.Sqrt(square[e]/studies) {
			t.Errorf("component %d: mean %.3f, want %.3f", e, sum[e], truth[e])
		}
		if r := said[e] / square[e]; r < 0.75 || r > 1.33 {
			t.Errorf("component %d: the fits say a variance of %.3f, seen %.3f", e, said[e], square[e])
		}
	}
}

// A retest of 60 athletes, two sides, two placings, three trials; as trials, as means, and with seven
// examiners crossed with all that.
func BenchmarkREML(b *testing.B) {
	trials := drawn(60, 2, 2, 3)
	means := collapse(trials, 2)
	crossed := means
	rng := rand.New(rand.NewPCG(3, 3))
	examiner := make([]int, len(means.Y))
	effect := []float64{-3, -1, 0, 1, 1, 2, 4}
	crossed.Y = append([]float64(nil), means.Y...)
	for i := range examiner {
		examiner[i] = rng.IntN(7)
		crossed.Y[i] += effect[examiner[i]]
	}
	crossed.Groups = append(append([][]int(nil), means.Groups...), examiner)
	for name, d := range map[string]Mixed{"trials": trials, "means": means, "examiners": crossed} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if f, err := REML(d); err != nil || !f.Converged {
					b.Fatal(f, err)
				}
			}
		})
	}
}

// At the estimates they are the fit's own; with other values, and with data that never vary, they are
// those of balanced data in closed form: var MS = 2MS²/df (Searle et al. 1992, chapter 4).
func TestREMLStandardErrors(t *testing.T) {
	d := drawn(9, 2, 2, 3)
	d.Y, d.Groups = d.Y[:101], [][]int{d.Groups[0][:101], d.Groups[1][:101], d.Groups[2][:101]}
	f := mustFit(t, d)
	se, err := REMLStandardErrors(d, f.Var, f.Residual)
	if err != nil {
		t.Fatal(err)
	}
	for e := range se {
		near(t, "standard error", se[e], f.SE[e], 1e-6)
	}
	still := Mixed{Y: make([]float64, 40), Groups: [][]int{make([]int, 40), make([]int, 40)}}
	for i := range still.Y {
		still.Groups[0][i], still.Groups[1][i] = i/4, i
	}
	se, err = REMLStandardErrors(still, []float64{9, 5}, 2)
	if err != nil {
		t.Fatal(err)
	}
	between, within := 2*38.0*38/9, 2*2.0*2/30 // MS of 4·9 + 2 with 9 and of 2 with 30 degrees of freedom
	near(t, "between", se[0], math.Sqrt((between+within)/16), 1e-9)
	near(t, "not estimable", se[1], 0, 0)
	near(t, "within", se[2], math.Sqrt(within), 1e-9)
	for name, c := range map[string]struct {
		d        Mixed
		v        []float64
		residual float64
	}{
		"no residual":        {still, []float64{9, 5}, 0},
		"a variance missing": {still, []float64{9}, 2},
		"one observation":    {Mixed{Y: []float64{1}}, nil, 1},
		"nothing":            {Mixed{}, nil, 1},
	} {
		if _, err := REMLStandardErrors(c.d, c.v, c.residual); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
