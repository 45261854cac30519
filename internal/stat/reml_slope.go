package stat

import "gonum.org/v1/gonum/floats"

// remlSlope is the gradient of the restricted log-likelihood by the variances, and its expected and observed information: ½(y'PVᵢPy − tr PVᵢ), ½ tr PVᵢPVⱼ, and y'PVᵢPVⱼPy − ½ tr PVᵢPVⱼ.
type remlSlope struct {
	grad []float64
	info [][]float64
	seen [][]float64
}

// slope works with ZᵢZᵢ' = Vᵢ, block by block: G = B⁻¹WDL⁻ᵀ, so that P = B⁻¹ − GG', and of each effect
// Tᵢ = Zᵢ'G and Sᵢⱼ = Zᵢ'B⁻¹Zⱼ. tr PVᵢPVⱼ = Σ‖Sᵢⱼ‖² − 2Σ tr Tᵢ'SᵢⱼTⱼ + tr (ΣTᵢ'Tᵢ)(ΣTⱼ'Tⱼ).
func (m *remlModel) slope(theta []float64, q *remlPoint) *remlSlope {
	r := len(m.effects) + 1
	s := &remlSlope{grad: make([]float64, r), info: square(r), seen: square(r)}
	sums := make([][][]float64, r) // ΣTᵢ'Tᵢ
	for i := range sums {
		sums[i] = square(m.m)
	}
	cross := m.crossedParts(q)
	ends := table(r, m.m) // G'VᵢPy
	for b, p := range m.patterns {
		g := p.addSlope(q, b, s, sums, cross)
		p.addSeen(q, g, s, ends, cross)
	}
	for i := range r {
		for j := range i + 1 {
			for t := range m.m {
				s.info[i][j] += floats.Dot(sums[i][t], sums[j][t])
			}
		}
	}
	cross.finish(m, s)
	for i := range r {
		s.grad[i] /= 2
		for j := range i + 1 {
			s.info[i][j] /= 2
			s.info[j][i] = s.info[i][j]
			s.seen[i][j] -= floats.Dot(ends[i], ends[j]) + s.info[i][j]
			s.seen[j][i] = s.seen[i][j]
		}
	}
	if sigma := theta[r-1]; m.df > 0 {
		s.grad[r-1] += (m.ss/sigma - m.df) / (2 * sigma)
		s.info[r-1][r-1] += m.df / (2 * sigma * sigma)
		s.seen[r-1][r-1] += (2*m.ss/sigma - m.df) / (2 * sigma * sigma)
	}
	return s
}

// addSlope adds what the blocks of one pattern contribute to the traces, and returns G.
func (p *remlPattern) addSlope(q *remlPoint, b int, s *remlSlope, sums [][][]float64, cross *remlCrossed) [][]float64 {
	inv, count := q.inv[p.shape], float64(len(p.ys))
	g := table(p.n, len(q.d))
	for a, row := range q.f[b] {
		copy(g[a], row)
		floats.Mul(g[a], q.d)
		forward(q.low, g[a])
	}
	sides := make([][][]float64, len(p.level)) // B⁻¹Zⱼ, transposed: one row for each level
	t := make([][][]float64, len(p.level))
	for i := range p.level {
		if p.level[i] == nil {
			continue
		}
		sides[i], t[i] = p.gather(i, inv), p.gather(i, g)
		for _, row := range t[i] {
			s.grad[i] += count * floats.Dot(row, row)
			for u, x := range row {
				floats.AddScaled(sums[i][u], count*x, row)
			}
		}
		p.addPairs(i, sides, t, s, count)
		if len(q.d) > cross.m.p {
			cross.addBlock(i, p.gather(i, q.f[b]), t[i], s, count)
		}
	}
	return g
}

// addSeen adds y'PVᵢPy to the gradient and y'PVᵢB⁻¹VⱼPy to the observed information.
func (p *remlPattern) addSeen(q *remlPoint, g [][]float64, s *remlSlope, ends [][]float64, cross *remlCrossed) {
	inv, r := q.inv[p.shape], len(p.level)
	py := make([]float64, p.n)
	v, bv := table(r, p.n), table(r, p.n) // VᵢPy, B⁻¹VᵢPy
	for _, y := range p.ys {
		for a := range py {
			py[a] = floats.Dot(inv[a], y) - floats.Dot(g[a], q.hy)
		}
		for i := range r {
			if p.level[i] == nil {
				cross.spread(i, p.w, v[i])
			} else {
				s.grad[i] += p.spread(i, py, v[i])
			}
			for a := range py {
				bv[i][a] = floats.Dot(inv[a], v[i])
				floats.AddScaled(ends[i], v[i][a], g[a])
			}
			for j := range i + 1 {
				s.seen[i][j] += floats.Dot(v[i], bv[j])
			}
		}
	}
}

// spread sets v to ZᵢZᵢ'a and returns ‖Zᵢ'a‖².
func (p *remlPattern) spread(i int, a, v []float64) float64 {
	sums := p.gatherVector(i, a)
	for row, l := range p.level[i] {
		v[row] = 0
		if l >= 0 {
			v[row] = p.weight[i][row] * sums[l]
		}
	}
	return floats.Dot(sums, sums)
}

// addPairs adds Σ‖Sᵢⱼ‖² − 2Σ tr Tᵢ'SᵢⱼTⱼ for j ≤ i, and −tr Sᵢᵢ to the gradient.
func (p *remlPattern) addPairs(i int, sides, t [][][]float64, s *remlSlope, count float64) {
	for j := range i + 1 {
		if p.level[j] == nil {
			continue
		}
		sum := 0.0
		for l, row := range sides[i] {
			for k, x := range p.gatherVector(j, row) {
				sum += x*x - 2*x*floats.Dot(t[i][l], t[j][k])
				if i == j && l == k {
					s.grad[i] -= count * x
				}
			}
		}
		s.info[i][j] += count * sum
	}
}

// gather is Zᵢ'A for a matrix of the block's rows.
func (p *remlPattern) gather(i int, a [][]float64) [][]float64 {
	out := table(p.count[i], len(a[0]))
	for r, l := range p.level[i] {
		if l >= 0 {
			floats.AddScaled(out[l], p.weight[i][r], a[r])
		}
	}
	return out
}

func (p *remlPattern) gatherVector(i int, a []float64) []float64 {
	out := make([]float64, p.count[i])
	for r, l := range p.level[i] {
		if l >= 0 {
			out[l] += p.weight[i][r] * a[r]
		}
	}
	return out
}

// remlCrossed is what the crossed effects need: W'PW = W'B⁻¹W − R'R with R = L⁻¹DW'B⁻¹W.
type remlCrossed struct {
	m  *remlModel
	rt [][]float64 // R, transposed
	wp [][]float64 // W'PW
	py []float64   // W'Py
}

func (m *remlModel) crossedParts(q *remlPoint) *remlCrossed {
	c := &remlCrossed{m: m, rt: square(m.m), wp: square(m.m), py: make([]float64, m.m)}
	if m.m == m.p {
		return c
	}
	for b, p := range m.patterns {
		for _, y := range p.ys {
			for a := range y {
				floats.AddScaled(c.py, y[a], q.f[b][a])
			}
		}
	}
	for s := range m.m {
		copy(c.rt[s], q.w[s])
		floats.Mul(c.rt[s], q.d)
		forward(q.low, c.rt[s])
		c.py[s] -= floats.Dot(c.rt[s], q.hy)
	}
	for s := range m.m {
		for t := range m.m {
			c.wp[s][t] = q.w[s][t] - floats.Dot(c.rt[s], c.rt[t])
		}
	}
	return c
}

// addBlock adds tr PVᵢPV꜀ = ‖Zᵢ'PU꜀‖² for effect i of a block and every crossed effect c; zf is
// Zᵢ'B⁻¹W and t is Zᵢ'G.
func (c *remlCrossed) addBlock(i int, zf, t [][]float64, s *remlSlope, count float64) {
	for e, first := range c.m.first {
		if first < 0 {
			continue
		}
		sum := 0.0
		for l := range zf {
			for col := first; col < first+c.m.levels[e]; col++ {
				x := zf[l][col] - floats.Dot(t[l], c.rt[col])
				sum += x * x
			}
		}
		s.info[max(i, e)][min(i, e)] += count * sum
	}
}

// spread sets v to the rows of UU'Py of crossed effect e that belong to a block with these rows of W.
func (c *remlCrossed) spread(e int, w [][]float64, v []float64) {
	first := c.m.first[e]
	for a := range v {
		v[a] = floats.Dot(w[a][first:first+c.m.levels[e]], c.py[first:first+c.m.levels[e]])
	}
}

// finish adds the crossed effects' own entries.
func (c *remlCrossed) finish(m *remlModel, s *remlSlope) {
	for i, first := range m.first {
		if first < 0 {
			continue
		}
		for col := first; col < first+m.levels[i]; col++ {
			s.grad[i] += c.py[col]*c.py[col] - c.wp[col][col]
			for j := range i + 1 {
				for other := m.first[j]; m.first[j] >= 0 && other < m.first[j]+m.levels[j]; other++ {
					s.info[i][j] += c.wp[col][other] * c.wp[col][other]
				}
			}
		}
	}
}
