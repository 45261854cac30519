package stat

import (
	"fmt"
	"math"
)

// Kappas is the agreement of two ratings of N targets in ordered categories 0 … Levels − 1: Cohen's
// kappa (Educ Psychol Meas 1960;20:37-46) and the quadratic-weighted one (Psychol Bull
// 1968;70:213-220), each with its large-sample standard error (Fleiss JL, Cohen J, Everitt BS.
// Psychol Bull 1969;72:323-327). Observed is the share of targets with the same rating twice, Chance
// what it would be if the ratings had nothing to do with each other. Where OK is false kappa does not
// exist and Note says why.
type Kappas struct {
	N          int     `json:"n"`
	Levels     int     `json:"levels"`
	Observed   float64 `json:"observed"`
	Chance     float64 `json:"chance"`
	Kappa      float64 `json:"kappa"`
	SE         float64 `json:"se"`
	Weighted   float64 `json:"weighted"`
	WeightedSE float64 `json:"weighted_se"`
	OK         bool    `json:"ok"`
	Note       string  `json:"note,omitempty"`
}

// Kappa compares the ratings a and b of the same targets, each 0 … levels − 1. It returns an error if
// the lists are empty or of different lengths, or if a rating lies outside.
func Kappa(a, b []int, levels int) (Kappas, error) {
	if len(a) == 0 || len(a) != len(b) {
		return Kappas{}, fmt.Errorf("stat: kappa needs as many second ratings as first ones, got %d and %d", len(a), len(b))
	}
	k := Kappas{N: len(a), Levels: levels}
	share := make([][]float64, max(0, levels))
	for i := range share {
		share[i] = make([]float64, levels)
	}
	for i := range a {
		if min(a[i], b[i]) < 0 || max(a[i], b[i]) >= levels {
			return Kappas{}, fmt.Errorf("stat: rating %d is not from 0 to %d", i+1, levels-1)
		}
		share[a[i]][b[i]] += 1 / float64(k.N)
	}
	same := func(i, j int) float64 {
		if i == j {
			return 1
		}
		return 0
	}
	quadratic := func(i, j int) float64 {
		d := float64(i-j) / float64(max(1, levels-1))
		return 1 - d*d
	}
	k.Kappa, k.SE, k.Observed, k.Chance, k.OK = weightedKappa(share, k.N, same)
	if !k.OK {
		k.Note = "All ratings are the same category: kappa does not exist, because nothing shows that the ratings can tell people apart."
		return k, nil
	}
	k.Weighted, k.WeightedSE, _, _, k.OK = weightedKappa(share, k.N, quadratic)
	return k, nil
}

// weightedKappa works on the shares p[first][second]. ok is false if chance alone makes all agree.
func weightedKappa(p [][]float64, n int, w func(i, j int) float64) (kappa, se, observed, chance float64, ok bool) {
	l := len(p)
	row, col := make([]float64, l), make([]float64, l)
	for i := range l {
		for j := range l {
			row[i] += p[i][j]
			col[j] += p[i][j]
		}
	}
	rowW, colW := make([]float64, l), make([]float64, l)
	for i := range l {
		for j := range l {
			observed += p[i][j] * w(i, j)
			chance += row[i] * col[j] * w(i, j)
			rowW[i] += col[j] * w(i, j)
			colW[j] += row[i] * w(i, j)
		}
	}
	if 1-chance < 1e-12 {
		return 0, 0, observed, chance, false
	}
	kappa = (observed - chance) / (1 - chance)
	v := 0.0
	for i := range l {
		for j := range l {
			d := w(i, j) - (rowW[i]+colW[j])*(1-kappa)
			v += p[i][j] * d * d
		}
	}
	d := kappa - chance*(1-kappa)
	v = max(0, v-d*d) / (float64(n) * (1 - chance) * (1 - chance))
	return kappa, math.Sqrt(v), observed, chance, true
}
