package stat

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// TwoWay is the analysis of variance of a complete table of n targets (rows), each rated once by the
// same k judges (columns). SEMAgreement is the standard error of measurement of one rating by any of
// the judges, √WMS, which is √(σ²_judge + EMS); SEMConsistency, √EMS, leaves the judges' means out
// (Weir JP. J Strength Cond Res 2005;19:231-240). Both are in the unit of the ratings.
type TwoWay struct {
	N              int     `json:"n"`
	K              int     `json:"k"`
	Mean           float64 `json:"mean"`
	BMS            float64 `json:"bms"` // between targets, n − 1 degrees of freedom
	WMS            float64 `json:"wms"` // within targets, n(k − 1)
	JMS            float64 `json:"jms"` // between judges, k − 1
	EMS            float64 `json:"ems"` // what is left, (n − 1)(k − 1)
	SEMAgreement   float64 `json:"sem_agreement"`
	SEMConsistency float64 `json:"sem_consistency"`
}

// ICC is one intraclass correlation with its F test and 95 % interval. Where OK is false, Note says
// why test and interval do not exist; Value is then 1 if the ratings agree exactly, else 0. A value
// below zero is what the data say and is not clamped.
type ICC struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	F     float64 `json:"f"`
	DF1   float64 `json:"df1"`
	DF2   float64 `json:"df2"`
	P     float64 `json:"p"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
	OK    bool    `json:"ok"`
	Note  string  `json:"note,omitempty"`
}

// lowestICC bounds what is printed of a lower limit: the limit of an averaged coefficient has none.
const lowestICC = -1000

// NewTwoWay is the analysis of variance of ratings[target][judge]. It returns an error if the table
// has fewer than two rows or columns, is not rectangular, or holds a value that is not finite.
func NewTwoWay(ratings [][]float64) (TwoWay, error) {
	n := len(ratings)
	if n < 2 || len(ratings[0]) < 2 {
		return TwoWay{}, errors.New("stat: an agreement needs two targets and two judges at least")
	}
	k := len(ratings[0])
	t := TwoWay{N: n, K: k}
	judge := make([]float64, k)
	for i, row := range ratings {
		if len(row) != k {
			return TwoWay{}, fmt.Errorf("stat: row %d has %d ratings, want %d", i+1, len(row), k)
		}
		for j, x := range row {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return TwoWay{}, fmt.Errorf("stat: rating %d of row %d is not a number", j+1, i+1)
			}
			judge[j] += x / float64(n)
		}
	}
	t.Mean = stat.Mean(judge, nil)
	t.squares(ratings, judge)
	return t, nil
}

// squares fills in the mean squares. Each is summed from differences, so that a large common value
// costs no digits; what is below the rounding of the ratings is zero.
func (t *TwoWay) squares(ratings [][]float64, judge []float64) {
	n, k := float64(t.N), float64(t.K)
	var between, judges, rest, top float64
	for _, row := range ratings {
		target := stat.Mean(row, nil)
		between += (target - t.Mean) * (target - t.Mean)
		for j, x := range row {
			d := x - target - judge[j] + t.Mean
			rest += d * d
			top = max(top, math.Abs(x))
		}
	}
	for _, m := range judge {
		judges += (m - t.Mean) * (m - t.Mean)
	}
	tiny := 1e-26 * top * top
	clean := func(ms float64) float64 {
		if ms <= tiny {
			return 0
		}
		return ms
	}
	t.BMS = clean(k * between / (n - 1))
	t.JMS = clean(n * judges / (k - 1))
	t.EMS = clean(rest / ((n - 1) * (k - 1)))
	t.WMS = clean((t.JMS + (n-1)*t.EMS) / n)
	t.SEMAgreement, t.SEMConsistency = math.Sqrt(t.WMS), math.Sqrt(t.EMS)
}

// ICCs are the six intraclass correlations of ratings[target][judge]: ICC(1,1) one-way random,
// ICC(2,1) two-way random with absolute agreement, ICC(3,1) two-way mixed with consistency, and each
// for the mean of the k judges (Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-428). The errors are
// those of NewTwoWay.
func ICCs(ratings [][]float64) ([]ICC, error) {
	t, err := NewTwoWay(ratings)
	if err != nil {
		return nil, err
	}
	return t.ICCs(), nil
}

// ICCs are the six intraclass correlations of the table.
func (t *TwoWay) ICCs() []ICC {
	one, two, three := t.fixedInterval("ICC(1,1)", t.WMS, float64(t.N*(t.K-1))), t.absolute(), t.fixedInterval("ICC(3,1)", t.EMS, float64((t.N-1)*(t.K-1)))
	return []ICC{one, two, three, t.averaged("ICC(1,k)", one), t.averaged("ICC(2,k)", two), t.averaged("ICC(3,k)", three)}
}

// degenerate sets what can be said where there is no scatter to compare with.
func (c *ICC) degenerate(t *TwoWay, errorMS float64) bool {
	switch {
	case t.BMS == 0 && errorMS == 0:
		c.Note = "All ratings are the same: there is no difference between the people measured that readings could agree on."
	case errorMS == 0:
		c.Value, c.Note = 1, "The readings agree exactly: there is no scatter left to make an interval from."
	default:
		return false
	}
	return true
}

// fixedInterval is ICC(1,1) or ICC(3,1), whose interval follows from that of F = BMS/error.
func (t *TwoWay) fixedInterval(name string, errorMS, df2 float64) ICC {
	c := ICC{Name: name, DF1: float64(t.N - 1), DF2: df2}
	if c.degenerate(t, errorMS) {
		return c
	}
	k := float64(t.K)
	c.test(t.BMS / errorMS)
	c.Value = (t.BMS - errorMS) / (t.BMS + (k-1)*errorMS)
	lo := c.F / distuv.F{D1: c.DF1, D2: df2}.Quantile(0.975)
	hi := c.F * distuv.F{D1: df2, D2: c.DF1}.Quantile(0.975)
	c.Lo, c.Hi = (lo-1)/(lo+k-1), (hi-1)/(hi+k-1)
	return c
}

func (c *ICC) test(f float64) {
	c.F, c.OK = f, true
	c.P = distuv.F{D1: c.DF1, D2: c.DF2}.Survival(f)
}

// absolute is ICC(2,1), with the interval of Shrout and Fleiss (degrees of freedom after
// Satterthwaite).
func (t *TwoWay) absolute() ICC {
	n, k := float64(t.N), float64(t.K)
	c := ICC{Name: "ICC(2,1)", DF1: n - 1, DF2: (n - 1) * (k - 1)}
	if t.BMS == 0 && t.JMS > 0 && t.EMS == 0 {
		c.Note = "The people measured do not differ: there is nothing that readings could agree on."
		return c
	}
	if c.degenerate(t, t.EMS) {
		if t.JMS > 0 {
			c.Value = t.BMS / (t.BMS + k*t.JMS/n)
			c.Note = "The readings differ by the examiner only: there is no scatter left to make an interval from."
		}
		return c
	}
	c.test(t.BMS / t.EMS)
	c.Value = (t.BMS - t.EMS) / (t.BMS + (k-1)*t.EMS + k*(t.JMS-t.EMS)/n)
	fj, r := t.JMS/t.EMS, c.Value
	a := n*(1+(k-1)*r) - k*r
	v := (k - 1) * (n - 1) * (k*r*fj + a) * (k*r*fj + a) / ((n-1)*k*k*r*r*fj*fj + a*a)
	if !(v >= 1e-3) { // nothing, or 0/0, where the rows' means are all the same
		c.OK, c.Note = false, "These ratings give no interval for this coefficient."
		return c
	}
	up := distuv.F{D1: n - 1, D2: v}.Quantile(0.975)
	low := distuv.F{D1: v, D2: n - 1}.Quantile(0.975)
	rest := k*t.JMS + (k*n-k-n)*t.EMS
	c.Lo = n * (t.BMS - up*t.EMS) / (up*rest + n*t.BMS)
	c.Hi = n * (low*t.BMS - t.EMS) / (rest + n*low*t.BMS)
	return c
}

// averaged is the coefficient of the mean of the k judges: Spearman and Brown's formula on the value
// and its limits.
func (t *TwoWay) averaged(name string, single ICC) ICC {
	c := single
	c.Name = name
	var ok bool
	if c.Value, ok = t.stepUp(single.Value); !ok {
		c.Value, c.OK, c.Lo, c.Hi = 0, false, 0, 0
		c.Note = "The people measured differ less than their readings: a mean of readings has no such coefficient."
		return c
	}
	if !c.OK {
		return c
	}
	if c.Lo, ok = t.stepUp(single.Lo); !ok {
		c.Lo, c.Note = lowestICC, "The lower limit is without meaning: these data leave this coefficient open."
	}
	if c.Hi, ok = t.stepUp(single.Hi); !ok {
		c.Hi = 1
	}
	return c
}

// stepUp is k·r/(1 + (k − 1)r); not ok where that has no meaning.
func (t *TwoWay) stepUp(r float64) (float64, bool) {
	k := float64(t.K)
	d := 1 + (k-1)*r
	if d < k/-lowestICC {
		return 0, false
	}
	return k * r / d, true
}

// Limits are the limits of agreement of two readings of the same N targets, a − b, in their unit:
// Bias ± 1.96 SD, with 95 % intervals by Student's t; SE of a limit √(3 SD²/N). WithinSD is the
// standard deviation of one reading about the target's mean, √(Σd²/2N), the bias included (Bland JM,
// Altman DG. Lancet 1986;1:307-310).
type Limits struct {
	N        int     `json:"n"`
	Bias     float64 `json:"bias"`
	BiasLo   float64 `json:"bias_lo"`
	BiasHi   float64 `json:"bias_hi"`
	SD       float64 `json:"sd"`
	Lower    float64 `json:"lower"`
	LowerLo  float64 `json:"lower_lo"`
	LowerHi  float64 `json:"lower_hi"`
	Upper    float64 `json:"upper"`
	UpperLo  float64 `json:"upper_lo"`
	UpperHi  float64 `json:"upper_hi"`
	WithinSD float64 `json:"within_sd"`
}

// LimitsOfAgreement compares two readings of the same targets in the same order. It returns an error
// for fewer than two pairs, lists of different lengths or values that are not finite. Readings that
// differ by a constant have an SD of zero and limits without width.
func LimitsOfAgreement(a, b []float64) (Limits, error) {
	n := len(a)
	if n != len(b) || n < 2 {
		return Limits{}, fmt.Errorf("stat: limits of agreement need two pairs at least, got %d and %d readings", n, len(b))
	}
	d := make([]float64, n)
	square := 0.0
	for i := range a {
		d[i] = a[i] - b[i]
		square += d[i] * d[i]
	}
	if math.IsNaN(square) || math.IsInf(square, 0) {
		return Limits{}, errors.New("stat: a reading is not a number")
	}
	l := Limits{N: n, WithinSD: math.Sqrt(square / float64(2*n))}
	l.Bias, l.SD = stat.MeanStdDev(d, nil)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}.Quantile(0.975)
	wide := t * l.SD / math.Sqrt(float64(n))
	l.BiasLo, l.BiasHi = l.Bias-wide, l.Bias+wide
	l.Lower, l.Upper = l.Bias-1.96*l.SD, l.Bias+1.96*l.SD
	wide *= math.Sqrt(3)
	l.LowerLo, l.LowerHi = l.Lower-wide, l.Lower+wide
	l.UpperLo, l.UpperHi = l.Upper-wide, l.Upper+wide
	return l, nil
}
