package stat

import (
	"encoding/binary"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// remlCells is the data with all observations of the same fixed effects and levels made one: their
// weighted mean, with the sum of squares about it. The likelihood is that of the single observations.
type remlCells struct {
	y      []float64 // scaled residuals from the ordinary least squares fit, once prepared
	k      []float64
	x      [][]float64 // kept columns, scaled to a root mean square of 1
	group  [][]int     // [effect][cell]
	ss     float64
	df     float64
	names  []string
	kept   []int     // columns of X that are not sums of the ones before
	width  []float64 // their scale
	ols    []float64
	scale  float64 // 0: nothing varies
	trials float64 // observations behind all: cells + df
}

func (d *Mixed) cells() *remlCells {
	c := &remlCells{ss: d.WithinSS, df: float64(d.WithinDF), group: make([][]int, len(d.Groups))}
	for e := range d.Groups {
		c.names = append(c.names, d.name(e))
	}
	at := make(map[string]int, len(d.Y))
	cell := make([]int, len(d.Y))
	var key []byte
	for i := range d.Y {
		key = d.cellKey(key[:0], i)
		j, known := at[string(key)]
		if !known {
			j = len(c.y)
			at[string(key)] = j
			c.y, c.k, c.x = append(c.y, 0), append(c.k, 0), append(c.x, d.row(i))
			for e, g := range d.Groups {
				c.group[e] = append(c.group[e], g[i])
			}
		}
		cell[i] = j
		c.k[j] += d.weight(i)
		c.y[j] += (d.Y[i] - c.y[j]) * d.weight(i) / c.k[j]
	}
	for i, j := range cell {
		c.ss += d.weight(i) * (d.Y[i] - c.y[j]) * (d.Y[i] - c.y[j])
	}
	c.df += float64(len(d.Y) - len(c.y))
	c.trials = float64(len(c.y)) + c.df
	return c
}

func (d *Mixed) weight(i int) float64 {
	if d.K == nil {
		return 1
	}
	return float64(d.K[i])
}

func (d *Mixed) row(i int) []float64 {
	if d.X == nil {
		return []float64{1}
	}
	return d.X[i]
}

func (d *Mixed) cellKey(key []byte, i int) []byte {
	for _, g := range d.Groups {
		key = binary.AppendVarint(key, int64(max(g[i], -1)))
	}
	if d.X != nil {
		for _, x := range d.X[i] {
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(x))
		}
	}
	return key
}

// prepare drops columns of X that depend on earlier ones, takes the ordinary least squares fit off y,
// which changes no restricted likelihood, and scales what is left to a variance of 1.
func (c *remlCells) prepare(f *Fit) {
	top := 0.0
	for _, y := range c.y {
		top = max(top, math.Abs(y))
	}
	c.independent(f)
	c.leastSquares()
	free := c.trials - float64(len(c.kept))
	sum := c.ss
	for _, y := range c.y {
		sum += y * y
	}
	if free < 1 || math.Sqrt(sum/max(1, free)) <= 1e-13*top {
		return
	}
	c.scale = math.Sqrt(sum / free)
	for i := range c.y {
		c.y[i] /= c.scale
	}
	c.ss /= c.scale * c.scale
}

// independent finds the columns of X to keep, by Gram and Schmidt.
func (c *remlCells) independent(f *Fit) {
	n, p := len(c.y), len(c.x[0])
	var basis [][]float64
	for j := range p {
		col := make([]float64, n)
		for i := range n {
			col[i] = c.x[i][j]
		}
		before := floats.Norm(col, 2)
		for range 2 { // twice is enough
			for _, b := range basis {
				d := floats.Dot(col, b)
				for i := range col {
					col[i] -= d * b[i]
				}
			}
		}
		if after := floats.Norm(col, 2); after > 1e-9*before {
			for i := range col {
				col[i] /= after
			}
			basis = append(basis, col)
			c.kept, c.width = append(c.kept, j), append(c.width, before/math.Sqrt(float64(n)))
			continue
		}
		f.Notes = append(f.Notes, fmt.Sprintf("Fixed effect %d cannot be told from the ones before it.", j+1))
	}
	x := make([][]float64, n)
	for i := range x {
		x[i] = make([]float64, len(c.kept))
		for q, j := range c.kept {
			x[i][q] = c.x[i][j] / c.width[q]
		}
	}
	c.x = x
}

// leastSquares leaves in y what the fixed effects do not explain.
func (c *remlCells) leastSquares() {
	p := len(c.kept)
	c.ols = make([]float64, p)
	for range 2 { // the second time takes off what rounding left
		a, b := square(p), make([]float64, p)
		for i, row := range c.x {
			for q := range row {
				b[q] += row[q] * c.y[i]
				for s := range row {
					a[q][s] += row[q] * row[s]
				}
			}
		}
		inv, _ := symInverse(a)
		for i, row := range c.x {
			for q := range row {
				c.y[i] -= row[q] * floats.Dot(inv[q], b)
			}
		}
		for q := range p {
			c.ols[q] += floats.Dot(inv[q], b)
		}
	}
}

// still fills in the answer for data in which nothing varies, or of which nothing is left to vary.
func (c *remlCells) still(f *Fit) {
	for q, j := range c.kept {
		f.Beta[j] = c.ols[q] / c.width[q]
	}
	f.Converged = true
	if c.trials <= float64(len(c.kept)) {
		for e := range f.Confounded {
			f.Confounded[e] = true
		}
		f.Notes = append(f.Notes, "There are no more observations than means to estimate: no variance can be told.")
		return
	}
	f.ResidualKnown, f.ResidualAtZero = true, true
	for e := range f.AtZero {
		f.AtZero[e] = true
	}
	f.Notes = append(f.Notes, "All values are the same: every variance is zero.")
}

func (c *remlCells) reportBeta(at *remlPoint, f *Fit) {
	inv, _ := symInverse(at.h)
	for q, j := range c.kept {
		f.Beta[j] = (c.ols[q] + c.scale*floats.Dot(inv[q], at.fy)) / c.width[q]
		f.BetaSE[j] = c.scale * math.Sqrt(max(0, inv[q][q])) / c.width[q]
		for s, l := range c.kept {
			f.BetaCov[j][l] = c.scale * c.scale * inv[q][s] / (c.width[q] * c.width[s])
		}
	}
}

// loglikShift is what scaling of y and X, and taking means of trials, leave out of the log-likelihood.
func (c *remlCells) loglikShift() float64 {
	free := c.trials - float64(len(c.kept))
	s := free * (math.Log(2*math.Pi) + 2*math.Log(c.scale))
	for _, k := range c.k {
		s += math.Log(k)
	}
	for _, w := range c.width {
		s += 2 * math.Log(w)
	}
	return s / 2
}
