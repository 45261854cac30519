package stat

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/floats"
)

// estimable gives the effects whose variance the data can tell, and notes the others in f: one whose
// expected information is all in that of the residual, the means and the effects before it. Whether it
// is does not depend on the variances, so it is looked at where all are equal.
func (m *remlModel) estimable(c *remlCells, f *Fit) []int {
	r := len(m.effects)
	theta := m.start()
	info := m.slope(theta, m.at(theta)).info
	kept := []int{r}
	for i := range r {
		if info[i][i] <= 1e-9*max(info[r][r], 1e-300) {
			f.Confounded[m.effects[i]] = true
			f.Notes = append(f.Notes, fmt.Sprintf("Of %s there is one level only, or it cannot be told from the means.", c.names[m.effects[i]]))
			continue
		}
		part := make([][]float64, len(kept))
		right := make([]float64, len(kept))
		for a, i2 := range kept {
			right[a] = info[i][i2] / math.Sqrt(info[i2][i2]*info[i][i])
			part[a] = make([]float64, len(kept))
			for b, j2 := range kept {
				part[a][b] = info[i2][j2] / math.Sqrt(info[i2][i2]*info[j2][j2])
			}
		}
		inv, _ := symInverse(part)
		share := product([][]float64{right}, inv)[0]
		if 1-floats.Dot(share, right) > 1e-8 {
			kept = append(kept, i)
			continue
		}
		f.Confounded[m.effects[i]] = true
		f.Notes = append(f.Notes, m.confounded(c, m.effects[i], kept, share))
	}
	out := make([]int, 0, len(kept)-1)
	for _, i := range kept[1:] {
		out = append(out, m.effects[i])
	}
	return out
}

func (m *remlModel) confounded(c *remlCells, effect int, kept []int, share []float64) string {
	var with []string
	for a, i := range kept {
		if math.Abs(share[a]) < 1e-4 {
			continue
		}
		if i == len(m.effects) {
			with = append(with, "the scatter of single readings")
		} else {
			with = append(with, c.names[m.effects[i]])
		}
	}
	return fmt.Sprintf("In these data %s cannot be told from %s.", c.names[effect], strings.Join(with, " and "))
}

// start is the same variance for every source, the total being 1.
func (m *remlModel) start() []float64 {
	r := len(m.effects) + 1
	theta := make([]float64, r)
	for i := range theta {
		theta[i] = 1 / float64(r)
	}
	return theta
}

// climb finds the variances at which the restricted likelihood is greatest. The first step, from equal
// variances, is minimum norm quadratic unbiased estimation; with balanced data it arrives.
//
// It returns them with the expected information there.
func (m *remlModel) climb(f *Fit) (theta []float64, info [][]float64) {
	theta = m.start()
	least := make([]float64, len(theta))
	least[len(least)-1] = remlFloor
	q := m.at(theta)
	for f.Iterations = 0; f.Iterations < remlMost; f.Iterations++ {
		s := m.slope(theta, q)
		info = s.info
		step := s.step(theta, least, f.Iterations == 0)
		gain := floats.Dot(s.grad, step)
		if gain <= remlGain || gain <= 1e-9 && theta[len(theta)-1] <= remlFloor { // there rounding hides more
			f.Converged = true
			for i := range theta {
				theta[i] = max(least[i], theta[i]+step[i])
			}
			break
		}
		next, at, ok := m.halving(theta, step, least, q)
		if !ok { // no shorter step is better: the top, as far as rounding lets it be seen
			f.Converged = gain < 1e-8 || theta[len(theta)-1] <= remlFloor
			break
		}
		theta, q = next, at
	}
	return theta, info
}

// halving goes along the step as far as the likelihood grows.
func (m *remlModel) halving(theta, step, least []float64, q *remlPoint) ([]float64, *remlPoint, bool) {
	slack := 1e-12 * (1 + math.Abs(q.loglik))
	for share := 1.0; share > 1e-9; share /= 2 {
		next := make([]float64, len(theta))
		for i := range next {
			next[i] = max(least[i], theta[i]+share*step[i])
		}
		if at := m.at(next); at.ok && at.loglik >= q.loglik-slack {
			return next, at, true
		}
	}
	return nil, nil, false
}

// step is Newton's where the likelihood is curved downward along the variances that may move, else
// Fisher's. Those at their bound that would go below it stay.
func (s *remlSlope) step(theta, least []float64, fisher bool) []float64 {
	r := len(theta)
	grad, seen := make([]float64, r), square(r)
	for i := range r {
		if theta[i] <= least[i] && s.grad[i] <= 0 {
			seen[i][i] = 1
			continue
		}
		grad[i] = s.grad[i]
		for j := range r {
			if theta[j] > least[j] || s.grad[j] > 0 {
				seen[i][j] = s.seen[i][j]
			}
		}
	}
	if _, ok := symInverse(seen); ok && !fisher {
		if d := boundedStep(grad, seen, theta, least); floats.Dot(grad, d) >= 0 {
			return d
		}
	}
	return boundedStep(s.grad, s.info, theta, least)
}

// boundedStep maximises the quadratic model g'd − ½d'Id of the likelihood with θ + d ≥ least: the
// variances at the bound are found by letting go and holding one after another.
func boundedStep(grad []float64, info [][]float64, theta, least []float64) []float64 {
	r := len(theta)
	held := make([]bool, r)
	d := make([]float64, r)
	for range 4*r + 4 {
		freeStep(grad, info, theta, least, held, d)
		worst, at := 0.0, -1
		for i := range r { // below the bound: hold the one that gets there first
			if short := least[i] - theta[i] - d[i]; !held[i] && short > 1e-15 && short/(math.Abs(d[i])) > worst {
				worst, at = short/math.Abs(d[i]), i
			}
		}
		if at >= 0 {
			held[at] = true
			continue
		}
		for i := range r { // held though it would rise: let go
			if up := grad[i] - floats.Dot(info[i], d); held[i] && up > worst {
				worst, at = up, i
			}
		}
		if at < 0 || worst <= 1e-12*math.Abs(grad[at]) {
			break
		}
		held[at] = false
	}
	for i := range d {
		d[i] = max(d[i], least[i]-theta[i])
	}
	return d
}

// freeStep solves for the free variances with the held ones at their bound.
func freeStep(grad []float64, info [][]float64, theta, least []float64, held []bool, d []float64) {
	var free []int
	for i := range d {
		if held[i] {
			d[i] = least[i] - theta[i]
		} else {
			free = append(free, i)
		}
	}
	a, b := square(len(free)), make([]float64, len(free))
	for x, i := range free {
		b[x] = grad[i]
		for j := range d {
			if held[j] {
				b[x] -= info[i][j] * d[j]
			}
		}
		for y, j := range free {
			a[x][y] = info[i][j]
		}
	}
	inv, ok := symInverse(a)
	for x, i := range free {
		d[i] = 0
		if ok {
			d[i] = floats.Dot(inv[x], b)
		} else if info[i][i] > 0 { // along each axis alone
			d[i] = b[x] / info[i][i] / float64(len(free))
		}
	}
}
