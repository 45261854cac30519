package study

import (
	"fmt"
	"math"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Athlete, session, trial with gaps: the study's components are those of R 4.2.2, lme4 1.1.31.
func TestComponentsAgainstLme4(t *testing.T) {
	ref := readReferences(t).Components.Missing
	var list []Reading
	at := map[[2]int]int{}
	for i, y := range ref.Y {
		key := [2]int{ref.Athlete[i], ref.Session[i]}
		k, known := at[key]
		if !known {
			k = len(list)
			at[key] = k
			list = append(list, Reading{Athlete: fmt.Sprint(ref.Athlete[i]), Measure: "hip_internal_rotation", Side: screen.Left, Examiner: "A", Occasion: "2026-02-10"})
		}
		list[k].Trials = append(list[k].Trials, y)
	}
	m := measureOf(t, New(protocol(t), list), "hip_internal_rotation")
	for id, want := range map[string]float64{"athlete": ref.VarAthlete, "placing": ref.VarSession, "trial": ref.VarTrial} {
		c := m.component(t, id)
		if c.SD == nil {
			t.Fatalf("%s is not told", id)
		}
		near(t, id, *c.SD**c.SD, want, 1e-5)
	}
	if m.component(t, "day").SD != nil || m.component(t, "examiner").SD != nil {
		t.Error("readings of one day by one examiner say nothing of days and examiners")
	}
	near(t, "SEM", *m.SEMSame, math.Sqrt(ref.VarSession+ref.VarTrial/2), 1e-5) // the mean of two trials is planned
	near(t, "MDC95", *m.MDC95, 1.96*math.Sqrt2**m.SEMSame, 1e-12)
}

// Shrout and Fleiss's four judges as examiners: R 4.2.2, psych 2.2.9.
func TestCorrelationsAgainstR(t *testing.T) {
	ref := readReferences(t).ICC
	var list []Reading
	for i, row := range ref.Ratings {
		for j, y := range row {
			list = append(list, Reading{Athlete: fmt.Sprint(i), Measure: "hip_internal_rotation", Side: screen.Left, Examiner: fmt.Sprint("judge ", j+1), Occasion: "2026-02-10", Trials: []float64{y}})
		}
	}
	m := measureOf(t, New(protocol(t), list), "hip_internal_rotation")
	if len(m.ICC) != 6 {
		t.Fatal(m.ICC, m.ICCNote)
	}
	for i, c := range m.ICC {
		near(t, c.Name, c.Value, ref.ICC[i], 1e-9)
		near(t, c.Name+" from", c.Lo, ref.Lower95[i], 1e-6)
		near(t, c.Name+" to", c.Hi, ref.Upper95[i], 1e-6)
	}
	if want := "From the 6 sides that were read by each of judge 1, judge 2, judge 3 and judge 4."; m.ICCNote != want {
		t.Error(m.ICCNote)
	}
	// Complete: each judge's bias is that of the column means, 7.667, 2.5, 4.333 and 6.667 less 5.2917;
	// its standard error √(EMS·(1 − 1/4)/6), EMS 1.0194 with 15 degrees of freedom.
	half := 2.13145 * math.Sqrt(1.0194444*0.75/6)
	for j, want := range []float64{2.375, -2.7916667, -0.9583333, 1.375} {
		b := m.Bias[j]
		if b.Examiner != fmt.Sprint("judge ", j+1) || b.Readings != 6 {
			t.Error(b)
		}
		near(t, b.Examiner, b.Value, want, 1e-6)
		near(t, b.Examiner+" half width", (b.Hi-b.Lo)/2, half, 1e-4)
	}
	// The SEM between judges is √WMS, 2.5028 (Weir 2005), that of one judge √EMS, 1.0097.
	near(t, "same examiner", *m.SEMSame, 1.0097, 1e-4)
	near(t, "another examiner", *m.SEMOther, math.Sqrt(1.019444+5.244444), 1e-5) // EMS + (JMS − EMS)/6
}

// Bland and Altman 1986, first readings as first and second: R 4.2.2.
func TestLimitsAgainstR(t *testing.T) {
	ref := readReferences(t).Limits
	var list []Reading
	for i := range ref.A {
		for k, y := range []float64{ref.B[i], ref.A[i]} {
			list = append(list, Reading{Athlete: fmt.Sprint(i), Measure: "reach_anterior", Side: screen.Right, Examiner: string(rune('A' + i%2*k)), Occasion: "2026-02-10", Trials: []float64{y}})
		}
	}
	m := measureOf(t, New(protocol(t), list), "reach_anterior")
	l := m.Limits
	pointAt := []int{0, 1, 10, 11, 12, 13, 14, 15, 16, 2, 3, 4, 5, 6, 7, 8, 9}
	if l == nil || len(l.Points) != 17 {
		t.Fatal(l)
	}
	near(t, "bias", l.Bias, ref.Bias, 1e-12)
	near(t, "SD", l.SD, ref.SD, 1e-12)
	near(t, "lower", l.Lower, ref.Lower, 1e-12)
	near(t, "upper", l.Upper, ref.Upper, 1e-12)
	for i, p := range l.Points { // the second reading of every other one is by B; athletes stand in the order of their labels
		first := ref.B[pointAt[i]]
		if want := pointAt[i]%2 == 0; p.Same != want || math.Abs(p.Mean-p.Difference/2-first) > 1e-9 {
			t.Errorf("point %d: %+v", i, p)
		}
	}
	if l.Words != "Of 100 second readings 95 lie between 78 cm less and 74 cm more of the first (17 pairs)." {
		t.Error(l.Words)
	}
}

// Ratings: R 4.2.2, psych 2.2.9.
func TestKappaAgainstR(t *testing.T) {
	ref := readReferences(t).Kappa
	var list []Reading
	for i := range ref.A {
		for k, y := range []float64{ref.A[i], ref.B[i]} {
			list = append(list, Reading{Athlete: fmt.Sprint(i), Measure: "scapula_rating", Side: screen.Right, Examiner: fmt.Sprint(k), Occasion: "2026-02-10", Trials: []float64{y}})
		}
	}
	m := measureOf(t, New(protocol(t), list), "scapula_rating")
	if m.Kappa == nil || m.Kappa.Pairs != 40 || !m.Enough {
		t.Fatal(m)
	}
	near(t, "kappa", m.Kappa.Kappa, ref.Kappa, 1e-12)
	near(t, "weighted", m.Kappa.Weighted, ref.Weighted, 1e-12)
	if want := "34 of 40 sides were rated the same twice; kappa 0.73 (95 in 100: 0.53 to 0.92), with near misses counted in part 0.58."; m.Statement != want {
		t.Error(m.Statement)
	}
	if len(m.Components) > 0 || m.Own != nil {
		t.Error("ratings have no error in degrees")
	}
}

// How many true deficits a rule finds is what the protocol's own check works out by integration, for
// every rule on a side difference that has a prior and one threshold.
func TestFoundAsTheProtocolsCheckSays(t *testing.T) {
	p := protocol(t)
	checks := score.New(p).Check()
	compared := 0
	for i := range p.Rules {
		r := &p.Rules[i]
		if r.Kind != screen.SideDifference && r.Kind != screen.SidePercent || len(r.Thresholds) != 1 || len(p.Measure(r.Measure).Priors) != 1 {
			continue
		}
		for _, c := range checks {
			if c.Rule != r.ID || !c.Prior {
				continue
			}
			se, tau := c.SE, c.Threshold
			if r.Kind == screen.SidePercent {
				se, tau = se/100, -math.Log1p(-tau/100)
			}
			x := &table{p: p, m: p.Measure(r.Measure), index: p.MeasureIndex(r.Measure)}
			found, known := x.found(r, &r.Thresholds[0], tau, se)
			if !known || math.Abs(found-c.Found) > 1 {
				t.Errorf("%s: found %.2f, the check says %.2f", r.ID, found, c.Found)
			}
			compared++
		}
	}
	if compared < 5 {
		t.Errorf("only %d rules compared", compared)
	}
}
