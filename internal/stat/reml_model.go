package stat

import (
	"encoding/binary"
	"math"
)

// remlModel is the cells arranged for the likelihood. The covariance is block-diagonal over what the
// nested effects link (an athlete), but for crossed effects with few levels (examiners): those stand
// beside the fixed effects as columns of W, which the Woodbury identity brings in. Blocks of the same
// shape differ in their y only, and are worked out once.
type remlModel struct {
	effects  []int  // which of the caller's effects
	crossed  []bool // of effects
	p, m     int    // fixed effects; columns of W
	first    []int  // first column of each crossed effect, -1
	levels   []int  // its columns
	patterns []*remlPattern
	shapes   int
	ss, df   float64
}

// remlPattern is a block, with the y of all blocks that are the same but for it. The residual is the
// last effect. Patterns of one shape differ in W only.
type remlPattern struct {
	n      int
	shape  int
	level  [][]int     // [effect][row], -1: none; crossed ones are nil
	count  []int       // levels of each effect in the block
	weight [][]float64 // [effect][row]: 1, or 1/√K of the residual
	w      [][]float64 // [row]: fixed effects, then 0 or 1 for each level of the crossed effects
	ys     [][]float64
}

func newRemlModel(c *remlCells, effects []int) *remlModel {
	m := &remlModel{effects: effects, p: len(c.kept), ss: c.ss, df: c.df}
	blocks := m.arrange(c)
	m.m = m.p
	m.first, m.levels = make([]int, len(effects)), make([]int, len(effects))
	column := make([]map[int]int, len(effects))
	for i, e := range effects {
		m.first[i] = -1
		if !m.crossed[i] {
			continue
		}
		column[i] = map[int]int{}
		for _, l := range c.group[e] {
			if _, known := column[i][l]; !known && l >= 0 {
				column[i][l] = m.m + len(column[i])
			}
		}
		m.first[i], m.levels[i] = m.m, len(column[i])
		m.m += len(column[i])
	}
	seen, shapes := map[string]*remlPattern{}, map[string]int{}
	for _, rows := range blocks {
		m.addBlock(c, rows, column, seen, shapes)
	}
	m.shapes = len(shapes)
	return m
}

// addBlock adds the block of the rows given to the pattern that it is like.
func (m *remlModel) addBlock(c *remlCells, rows []int, column []map[int]int, seen map[string]*remlPattern, shapes map[string]int) {
	p := &remlPattern{n: len(rows), w: table(len(rows), m.m)}
	var key []byte
	y := make([]float64, len(rows))
	root := make([]float64, len(rows))
	for a, i := range rows {
		y[a], root[a] = c.y[i], 1/math.Sqrt(c.k[i])
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(c.k[i]))
	}
	for i, e := range m.effects {
		var local []int
		if !m.crossed[i] {
			local = localLevels(c.group[e], rows)
		}
		for _, l := range local {
			key = binary.AppendVarint(key, int64(l))
		}
		p.addEffect(local, ones(len(rows)))
	}
	if _, known := shapes[string(key)]; !known {
		shapes[string(key)] = len(shapes)
	}
	p.shape = shapes[string(key)]
	for a, i := range rows {
		copy(p.w[a], c.x[i])
		for e, col := range column {
			if l := c.group[m.effects[e]][i]; col != nil && l >= 0 {
				p.w[a][col[l]] = 1
			}
		}
		for _, x := range p.w[a] {
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(x))
		}
	}
	if old := seen[string(key)]; old != nil {
		old.ys = append(old.ys, y)
		return
	}
	p.addEffect(allEffects(len(rows)), root)
	p.ys = [][]float64{y}
	seen[string(key)] = p
	m.patterns = append(m.patterns, p)
}

func (p *remlPattern) addEffect(level []int, weight []float64) {
	count := 0
	for _, l := range level {
		count = max(count, l+1)
	}
	p.level, p.count, p.weight = append(p.level, level), append(p.count, count), append(p.weight, weight)
}

func ones(n int) []float64 {
	s := make([]float64, n)
	for i := range s {
		s[i] = 1
	}
	return s
}

// localLevels numbers the levels of the rows from 0 in the order in which they appear.
func localLevels(group, rows []int) []int {
	out, known := make([]int, len(rows)), make([]int, 0, len(rows))
	for a, i := range rows {
		out[a] = -1
		if group[i] < 0 {
			continue
		}
		for l, g := range known {
			if g == group[i] {
				out[a] = l
			}
		}
		if out[a] < 0 {
			out[a] = len(known)
			known = append(known, group[i])
		}
	}
	return out
}

// arrange decides which effects to cross and returns the blocks that the others link: the effects with
// the fewest levels are crossed as long as that makes the work less.
func (m *remlModel) arrange(c *remlCells) [][]int {
	r := len(m.effects)
	order := make([]int, r)
	count := make([]int, r)
	for i, e := range m.effects {
		order[i] = i
		for _, l := range c.group[e] {
			count[i] = max(count[i], l+1)
		}
		for a := i; a > 0 && count[order[a]] < count[order[a-1]]; a-- {
			order[a], order[a-1] = order[a-1], order[a]
		}
	}
	m.crossed = make([]bool, r)
	blocks, columns := m.blocks(c), float64(m.p)
	best, cost, at := blocks, work(blocks, columns), 0
	for j := 1; j <= r && longest(best) > 12; j++ {
		m.crossed[order[j-1]] = true
		columns += float64(count[order[j-1]])
		blocks = m.blocks(c)
		if w := work(blocks, columns); w < cost {
			best, cost, at = blocks, w, j
		}
	}
	for j := at; j < r; j++ {
		m.crossed[order[j]] = false
	}
	return best
}

// work is the rough number of operations that blocks and so many columns of W cost.
func work(blocks [][]int, columns float64) float64 {
	w := columns * columns * columns
	for _, b := range blocks {
		n := float64(len(b))
		w += n*n*n + n*n*columns + n*columns*columns
	}
	return w
}

func longest(blocks [][]int) int {
	n := 0
	for _, b := range blocks {
		n = max(n, len(b))
	}
	return n
}

// blocks are the sets of cells that share a level of an effect that is not crossed, directly or
// through others.
func (m *remlModel) blocks(c *remlCells) [][]int {
	n := len(c.y)
	parent := allEffects(n)
	root := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for i, e := range m.effects {
		if m.crossed[i] {
			continue
		}
		first := map[int]int{}
		for a, l := range c.group[e] {
			if l < 0 {
				continue
			}
			if b, known := first[l]; known {
				parent[root(a)] = root(b)
			} else {
				first[l] = a
			}
		}
	}
	at := make([]int, n)
	var out [][]int
	for i := range n {
		r := root(i)
		if at[r] == 0 {
			out = append(out, nil)
			at[r] = len(out)
		}
		out[at[r]-1] = append(out[at[r]-1], i)
	}
	return out
}
