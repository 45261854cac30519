package score

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// protocolWith is a protocol with one paired arm measure in degrees: standard deviations from trial to
// trial and from placing to placing, a signed rule and an absolute one with the threshold, a prior.
func protocolWith(t testing.TB, trial, placing, tau, mu, omega float64) *screen.Protocol {
	t.Helper()
	file := fmt.Sprintf(`
name: reference
version: "1"
title: for a test
cutoffs: {deficit: 0.8, clear: 0.2, status: assumed}
cautions: [A screen is not a diagnosis.]
links: [{id: shoulder, name: Shoulder}]
sports: [{id: baseball, name: Baseball, throws: true, profile: overhead_throwing}]
measures:
  - id: turn
    name: Turn
    link: shoulder
    unit: deg
    paired: true
    limb: arm
    worse: lower
    plausible: [-500, 500]
    range_status: assumed
    error:
      trial: {value: %.17g, status: assumed}
      within: {sem: %.17g, trials: 1, same_session: true, status: assumed}
      transfer: 1
    priors: [{mean: %g, sd: %g, status: assumed}]
rules:
  - {id: loss, name: Loss, link: shoulder, kind: side_difference, measure: turn, signed: true, counted: true, core: true, thresholds: [{value: %g, unit: deg, status: assumed}]}
  - {id: apart, name: Apart, link: shoulder, kind: side_difference, measure: turn, signed: false, thresholds: [{value: %g, unit: deg, status: assumed}]}
`, trial, math.Hypot(trial, placing), mu, omega, tau, tau)
	p, err := screen.LoadProtocol("reference.yaml", strings.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func throwerOf(hand screen.Hand, born screen.Date, sex screen.Sex) screen.Athlete {
	return screen.Athlete{ID: "a", Name: "A", Born: born, Sex: sex, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: hand}}}
}

func recordOf(a screen.Athlete, readings ...screen.Reading) *screen.Record {
	for i := range readings {
		readings[i].ID = fmt.Sprint("r", i)
		if readings[i].Examiner == "" {
			readings[i].Examiner = "k"
		}
	}
	return &screen.Record{Screen: screen.Screen{ID: "s", Athlete: a.ID, On: "2026-02-10", Kind: screen.Preseason}, Athlete: a, Readings: readings}
}

func reading(measure string, side screen.Side, trials ...float64) screen.Reading {
	return screen.Reading{Measure: measure, Side: side, Trials: trials}
}

func findingOf(t testing.TB, r *Report, rule string) *Finding {
	t.Helper()
	for i := range r.Findings {
		if r.Findings[i].Rule == rule {
			return &r.Findings[i]
		}
	}
	t.Fatalf("no finding of the rule %s", rule)
	return nil
}

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// sciPyRow is a side difference worked out with SciPy, from trials to both probabilities.
type sciPyRow struct {
	NonThrowing []float64 `json:"non_throwing"`
	Throwing    []float64 `json:"throwing"`
	Between     float64   `json:"between_session_sd"`
	Within      float64   `json:"within_session_sd"`
	Threshold   float64   `json:"threshold"`
	PriorMean   float64   `json:"prior_mean"`
	PriorSD     float64   `json:"prior_sd"`
	Difference  float64   `json:"difference"`
	SE          float64   `json:"se"`
	PFlat       float64   `json:"p_flat"`
	PostMean    float64   `json:"posterior_mean"`
	PostSD      float64   `json:"posterior_sd"`
	PPrior      float64   `json:"p_prior"`
}

func sciPyRows(t *testing.T) []sciPyRow {
	t.Helper()
	data, err := os.ReadFile("testdata/side_difference.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct{ Rows []sciPyRow }
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.Rows) != 12 {
		t.Fatalf("%d rows, want 12", len(ref.Rows))
	}
	return ref.Rows
}

// The whole way from trials to both probabilities, against values computed with SciPy.
func TestSideDifferenceAgainstSciPy(t *testing.T) {
	for i, row := range sciPyRows(t) {
		s := New(protocolWith(t, row.Within, row.Between, row.Threshold, row.PriorMean, row.PriorSD))
		for _, hand := range []screen.Hand{screen.LeftHand, screen.RightHand} {
			throwing := screen.Side(hand)
			rep := s.Score(recordOf(throwerOf(hand, "2011-04-02", screen.Male),
				reading("turn", throwing, row.Throwing...), reading("turn", throwing.Other(), row.NonThrowing...)), Options{})
			f := findingOf(t, rep, "loss")
			name := fmt.Sprintf("row %d, %s", i, hand)
			near(t, name+" difference", f.Difference, row.Difference, 1e-10)
			near(t, name+" se", f.SE, row.SE, 1e-10)
			near(t, name+" P measured", f.PMeasured, row.PFlat, 1e-10)
			near(t, name+" posterior mean", f.PostMean, row.PostMean, 1e-10)
			near(t, name+" posterior SD", f.PostSD, row.PostSD, 1e-10)
			near(t, name+" P", f.P, row.PPrior, 1e-10)
		}
	}
}

// Mean motion of 369 professional pitchers, throwing / other: internal rotation 52 / 63, external 132 /
// 127 (Wilk KE et al. Clin Orthop Relat Res 2012;470:1586-1594). The arc differs by 6°, which is beyond
// the 5° rule on average: the rule must not call that a deficit, and its check must say how usual it is.
func TestPublishedPitchers(t *testing.T) {
	s := defaultScorer(t)
	a := throwerOf(screen.RightHand, "2000-01-01", screen.Male)
	a.Level = screen.Professional
	rep := s.Score(recordOf(a,
		reading("shoulder_internal_rotation", screen.Right, 52, 52), reading("shoulder_internal_rotation", screen.Left, 63, 63),
		reading("shoulder_external_rotation", screen.Right, 132, 132), reading("shoulder_external_rotation", screen.Left, 127, 127)), Options{})
	near(t, "internal rotation loss", findingOf(t, rep, "internal_rotation_loss").Difference, 11, 1e-9)
	arc := findingOf(t, rep, "total_arc_loss")
	near(t, "arc loss", arc.Difference, 6, 1e-9)
	near(t, "arc, throwing", arc.First, 184, 1e-9)
	near(t, "arc, other", arc.Second, 190, 1e-9)
	if arc.Verdict != Unsettled || arc.PMeasured < 0.5 || arc.PMeasured > 0.7 {
		t.Errorf("the average pitcher's arc is %s with P %.2f by the measurement", arc.Verdict, arc.PMeasured)
	}
	gain := findingOf(t, rep, "external_rotation_gain_small")
	near(t, "a gain of 5° stands at the threshold", gain.PMeasured, 0.5, 1e-9)
	if v := findingOf(t, rep, "rotation_loss_with_arc_loss").Verdict; v != Clear {
		t.Errorf("the average pitcher has %s on both conditions", v)
	}
	for _, c := range s.Check() {
		if c.Rule == "total_arc_loss" && c.Group == "from 19" {
			if c.Exceeded < 30 || len(c.Marks) == 0 || c.Marks[len(c.Marks)-1] != MarkUsual {
				t.Errorf("the check does not say that the arc rule is usual: %+v", c)
			}
		}
	}
}

// Figures of an independent simulation of the scapular distance (200,000 draws; threshold 15 mm, true
// differences N(0, 8²)): of 100 with a deficit 15, 1 and 0 are found at SEM 3, 5.5 and 8.3 mm; of all
// athletes one in five, nearly half, and all are unsettled.
func TestScapularFigures(t *testing.T) {
	s := defaultScorer(t)
	w := &work{s: s}
	c := comparison{tau: 15, absolute: true, prior: true, omega: 8}
	for _, x := range []struct{ sem, found, unsettled, tol float64 }{{3, 15, 0.20, 0.03}, {5.5, 1, 0.47, 0.05}, {8.3, 0, 1, 0.001}} {
		se := x.sem * math.Sqrt2
		found, _ := w.operating(&c, se)
		near(t, fmt.Sprintf("found at SEM %g", x.sem), found, x.found, 1)
		_, sd := c.posterior(0, se)
		b := w.bounds(&c, se, sd)
		wt := c.omega * c.omega / (c.omega*c.omega + se*se)
		spread := math.Hypot(c.omega, se)
		unsettled := 1 - stat.Beyond(b.over/wt, 0, spread)
		if b.clear {
			unsettled = stat.Beyond(b.upper/wt, 0, spread) - stat.Beyond(b.over/wt, 0, spread)
		}
		near(t, fmt.Sprintf("unsettled at SEM %g", x.sem), unsettled, x.unsettled, x.tol)
	}
}

// Threshold: at it both outcomes are equally likely by the measurement, just below and above not.
func TestAtTheThreshold(t *testing.T) {
	s := New(protocolWith(t, 1, 1, 13, 8, 7))
	p := func(d float64) float64 {
		rep := s.Score(recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male), reading("turn", screen.Right, 50), reading("turn", screen.Left, 50+d)), Options{})
		return findingOf(t, rep, "loss").PMeasured
	}
	near(t, "at the threshold", p(13), 0.5, 1e-12)
	if !(p(12.99) < 0.5 && p(13.01) > 0.5) {
		t.Errorf("just below %.4f, just above %.4f", p(12.99), p(13.01))
	}
	// cut-offs: the verdict turns where Φ((D − τ)/SE) = 0.80 and 0.20, z = 0.8416 (handbook table)
	se := math.Sqrt(2 * 2)
	near(t, "0.80", p(13+0.841621*se), 0.80, 1e-6)
	near(t, "0.20", p(13-0.841621*se), 0.20, 1e-6)
}

// Composite reach by the published formula (Plisky PJ et al. 2006): (70 + 110 + 105)/(3 × 92) × 100 =
// 103.261 %.
func TestCompositeReach(t *testing.T) {
	s := defaultScorer(t)
	rep := s.Score(recordOf(throwerOf(screen.RightHand, "2010-01-01", screen.Female),
		reading("reach_anterior", screen.Left, 70), reading("reach_posteromedial", screen.Left, 110),
		reading("reach_posterolateral", screen.Left, 105), reading("limb_length", screen.Left, 92)), Options{})
	f := findingOf(t, rep, "reach_composite_floor")
	near(t, "composite", f.Difference, 103.261, 0.0005)
	if f.Side != screen.Left || f.Role != "lead" {
		t.Errorf("stands on the %s leg, the %s leg", f.Side, f.Role)
	}
	// The probability is exact in the linear form a < r·b: recompute it from the parts' variances.
	a, b := 70.0+110+105, 92.0
	r := 3 * 0.94
	v := 0.0
	for _, id := range []string{"reach_anterior", "reach_posteromedial", "reach_posterolateral"} {
		v += oneTrialVariance(s, id)
	}
	v += r * r * oneTrialVariance(s, "limb_length")
	near(t, "P(composite below 94 %)", f.PMeasured, stat.Phi((r*b-a)/math.Sqrt(v)), 1e-12)
}

func oneTrialVariance(s *Scorer, id string) float64 {
	e := s.p.Measure(id).Resolved
	return e.Trial*e.Trial + e.Placing*e.Placing + e.Day*e.Day + e.Examiner*e.Examiner
}

// Reliable change, worked example of Jacobson NS, Truax P. J Consult Clin Psychol 1991;59:12-19 (values
// from memory): S_E = 3.354102, from 32.5 to 47.5, S_diff = 4.743416, RC = 3.162278, beyond 1.96.
func TestReliableChange(t *testing.T) {
	c := Compare(&Finding{Difference: 32.5, SE: 3.354102, Prior: "none"}, &Finding{Difference: 47.5, SE: 3.354102, Prior: "none"})
	near(t, "S_diff", c.SE, 4.743416, 1e-6)
	near(t, "RC", c.Beyond/c.SE, 3.162278, 1e-6)
	near(t, "MDC95", c.MDC95, 1.96*4.743416, 1e-5)
	if !c.Real {
		t.Error("a change of 3.16 standard errors is real")
	}
	same := Compare(&Finding{Difference: 20, SE: 3, Prior: "protocol", PriorMean: 8, PriorSD: 4}, &Finding{Difference: 20, SE: 3})
	near(t, "regression to the mean, w = 16/25", same.ByItself, 8+0.64*12-20, 1e-12)
	near(t, "its error", same.SE, math.Sqrt(9+0.64*9), 1e-12)
}

// A count of 2 errors in one trial against a limit of 5, by the measurement alone: the closed form of
// the Poisson sum e^−5(1 + 5 + 25/2).
func TestCountAgainstClosedForm(t *testing.T) {
	s := defaultScorer(t)
	a := throwerOf(screen.RightHand, "2012-01-01", screen.Male) // 14: limit 5, group mean 3, SD 2
	rep := s.Score(recordOf(a, reading("stance_errors", screen.Right, 2)), Options{})
	f := findingOf(t, rep, "stance_errors_high")
	near(t, "P measured", f.PMeasured, math.Exp(-5)*(1+5+12.5), 1e-12)
	// With the group's gamma (shape 9/4, rate 3/4) the rate is gamma(17/4, 7/4): the tail at 5 by
	// numerical integration.
	near(t, "P", f.P, gammaTail(17.0/4, 7.0/4, 5), 1e-6)
}

// A single trial at the cap of 10 says "at least 10". By Bayes' rule with the group's gamma the answer
// is the ratio of two integrals, here by the midpoint rule.
func TestCappedCount(t *testing.T) {
	s := defaultScorer(t)
	a := throwerOf(screen.RightHand, "2012-01-01", screen.Male)
	rep := s.Score(recordOf(a, reading("stance_errors", screen.Right, 10)), Options{})
	f := findingOf(t, rep, "stance_errors_high")
	joint := func(from, to float64) (sum float64) {
		n := 40000
		h := (to - from) / float64(n)
		for i := range n {
			l := from + (float64(i)+0.5)*h
			p, term := 0.0, math.Exp(-l)
			for k := range 10 {
				p += term
				term *= l / float64(k+1)
			}
			sum += h * (1 - p) * math.Exp(1.25*math.Log(l)-0.75*l)
		}
		return sum
	}
	near(t, "P", f.P, joint(5, 100)/joint(0, 100), 1e-6)
	if exact := gammaTail(2.25+10, 1.75, 5); f.P <= exact {
		t.Errorf("at least 10 errors must not say less than exactly 10: %.4f, %.4f", f.P, exact)
	}
}

func gammaTail(shape, rate, from float64) float64 {
	lg, _ := math.Lgamma(shape)
	sum, n, to := 0.0, 20000, from+60.0
	h := (to - from) / float64(n)
	for i := range n {
		x := from + (float64(i)+0.5)*h
		sum += h * math.Exp(shape*math.Log(rate)+(shape-1)*math.Log(x)-rate*x-lg)
	}
	return sum
}

// The tables of order statistics by integration: E and Var of the largest of k, Var of the median.
func TestOrderStatistics(t *testing.T) {
	moments := func(density func(float64) float64) (mean, variance float64) {
		m2, h := 0.0, 0.001
		for x := -8.0; x < 8; x += h {
			f := density(x) * h
			mean += x * f
			m2 += x * x * f
		}
		return mean, m2 - mean*mean
	}
	phi := func(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }
	for k := 1; k <= 6; k++ {
		m, v := moments(func(x float64) float64 { return float64(k) * math.Pow(stat.Phi(x), float64(k-1)) * phi(x) })
		near(t, fmt.Sprintf("excess of the best of %d", k), screen.BestExcess(k), m, 1e-4)
		near(t, fmt.Sprintf("variance of the best of %d", k), (&screen.Trials{Combine: screen.Best}).Share(k), v, 1e-4)
	}
	for _, k := range []int{1, 3, 5} {
		j := float64(k / 2)
		c := math.Gamma(float64(k)+1) / math.Pow(math.Gamma(j+1), 2)
		_, v := moments(func(x float64) float64 {
			p := stat.Phi(x)
			return c * math.Pow(p*(1-p), j) * phi(x)
		})
		near(t, fmt.Sprintf("variance of the median of %d", k), (&screen.Trials{Combine: screen.Median}).Share(k), v, 1e-4)
	}
}

// The two-condition rule's figures against a simulation through the real code with random draws: truth
// from the joint prior, one planned visit, the verdict of the score itself.
func TestCheckOfTwoConditions(t *testing.T) {
	s := defaultScorer(t)
	var c RuleCheck
	for _, x := range s.Check() {
		if x.Rule == "rotation_loss_with_arc_loss" && x.Group == "from 19" {
			c = x
		}
	}
	rng := rand.New(rand.NewPCG(5, 6))
	rho, ok := s.p.PartCorrelation(s.p.Measure("shoulder_total_arc"), &screen.Subject{Age: 25})
	if !ok || c.SE == 0 {
		t.Fatalf("no check of the two conditions: %+v", c)
	}
	sd := func(id string) float64 { // of the mean of the two planned trials, one side, without the examiner
		e := s.p.Measure(id).Resolved
		return math.Sqrt(e.Trial*e.Trial/2 + e.Placing*e.Placing + e.Day*e.Day)
	}
	ir, er := sd("shoulder_internal_rotation"), sd("shoulder_external_rotation")
	a := throwerOf(screen.RightHand, "2000-01-01", screen.Male)
	n, broken, found, missed := 30000, 0.0, 0.0, 0.0
	for range n {
		z := rng.NormFloat64()
		dIR, dER := 11+8*z, -6+7*(rho*z+math.Sqrt(1-rho*rho)*rng.NormFloat64())
		if !(dIR > 20 && dIR+dER > 5) {
			continue
		}
		broken++
		x := func(mean, sd float64) float64 { return mean + sd*rng.NormFloat64() }
		irT, erT := x(45, ir), x(110, er)
		rep := s.Score(recordOf(a, shoulder(screen.Right, screen.Left, irT, x(45+dIR, ir), erT, x(110+dER, er))...), Options{})
		switch findingOf(t, rep, "rotation_loss_with_arc_loss").Verdict {
		case Deficit:
			found++
		case Clear:
			missed++
		}
	}
	near(t, "exceeded", c.Exceeded, 100*broken/float64(n), 0.7)
	near(t, "found", c.Found, 100*found/broken, 3)
	near(t, "called clear", c.Missed, 100*missed/broken, 2)
}
