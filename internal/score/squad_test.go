package score

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// member is a right-handed thrower's record with the difference d in one measure of which lower is worse,
// read with two trials on either side.
func member(id, measure string, d float64) *screen.Record {
	a := throwerOf(screen.RightHand, "2000-01-01", screen.Male)
	a.ID = id
	first, second := screen.Right, screen.Left
	if strings.HasPrefix(measure, "hip") { // the lead leg is opposite to the throwing hand
		first, second = second, first
	}
	rec := recordOf(a, reading(measure, first, 50, 50), reading(measure, second, 50+d, 50+d))
	rec.Screen.ID = "s" + id
	return rec
}

func squadOf(measure string, diffs ...float64) []*screen.Record {
	out := make([]*screen.Record, len(diffs))
	for i, d := range diffs {
		out[i] = member(fmt.Sprintf("a%02d", i), measure, d)
	}
	return out
}

// atIntegral is mean of the true difference and P(beyond) of one athlete, by integrating the model of
// scoring, written out, over mean and spread of the squad on a fine grid: θᵢ ~ N(μ, ω²), μ ~ N(μ₀, ω₀²),
// ln ω ~ N(ln ω₀, 0.5²).
func atIntegral(d, se []float64, mu0, omega0 float64, i int, beyond func(mean, sd float64) float64) (mean, p float64) {
	total := 0.0
	for lw := math.Log(omega0) - 2.5; lw < math.Log(omega0)+2.5; lw += 0.04 {
		omega := math.Exp(lw)
		for mu := mu0 - 6*omega0; mu < mu0+6*omega0; mu += omega0 / 30 {
			z, y := (mu-mu0)/omega0, (lw-math.Log(omega0))/0.5
			ll := -z*z/2 - y*y/2
			for j := range d {
				v := omega*omega + se[j]*se[j]
				ll -= math.Log(v)/2 + (d[j]-mu)*(d[j]-mu)/(2*v)
			}
			f := math.Exp(ll + 2*float64(len(d)))
			w := omega * omega / (omega*omega + se[i]*se[i])
			m := mu + w*(d[i]-mu)
			total += f
			mean += f * m
			p += f * beyond(m, math.Sqrt(w)*se[i])
		}
	}
	return mean / total, p / total
}

// The probabilities by a squad's figures, signed and absolute, against integrating the model.
func TestSquadPriorAgainstIntegration(t *testing.T) {
	for _, c := range []struct {
		rule    string
		tau     float64
		diffs   []float64
		mu, sd  float64
		against func(tau float64) func(m, sd float64) float64
	}{
		{"loss", 13, []float64{4, 19, 11, 15, 8}, 8, 7, func(tau float64) func(m, sd float64) float64 {
			return func(m, sd float64) float64 { return math.Erfc((tau-m)/sd/math.Sqrt2) / 2 }
		}},
		{"apart", 9, []float64{-3, -12, 2, 6, -9, -14, 1}, 0, 6, func(tau float64) func(m, sd float64) float64 {
			return func(m, sd float64) float64 {
				return (math.Erfc((tau-m)/sd/math.Sqrt2) + math.Erfc((tau+m)/sd/math.Sqrt2)) / 2
			}
		}},
	} {
		s := New(protocolWith(t, 2, 2.5, c.tau, c.mu, c.sd))
		records := squadOf("turn", c.diffs...)
		prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
		se := make([]float64, len(c.diffs))
		for i := range se {
			se[i] = findingOf(t, s.Score(records[i], Options{}), c.rule).SE
		}
		for i, rec := range records {
			rep := s.Score(rec, Options{Squad: prior})
			f := findingOf(t, rep, c.rule)
			mean, p := atIntegral(c.diffs, se, c.mu, c.sd, i, c.against(c.tau))
			near(t, fmt.Sprint(c.rule, i, " P"), f.P, p, 1e-3)
			near(t, fmt.Sprint(c.rule, i, " mean"), f.PostMean, mean, 0.01)
			if f.Prior != "squad" || rep.SquadOn != "2026-02-10" || f.PMeasured != findingOf(t, s.Score(rec, Options{}), c.rule).PMeasured {
				t.Errorf("%s: prior %q of %q", c.rule, f.Prior, rep.SquadOn)
			}
			if c.rule == "loss" { // the link has one rule: its probability is that of the finding
				near(t, "link", *rep.Links[0].P, f.P, 1e-12)
				near(t, "usual", *rep.Links[0].PUsual, stat.Above(c.tau, c.mu, c.sd), 1e-12)
			}
		}
	}
}

// A squad that is off by 6° as a whole is drawn to its own mean, not to the protocol's 0.
func TestSquadIsDrawnToItsOwnMean(t *testing.T) {
	s := defaultScorer(t)
	diffs := []float64{6, 7, 5, 6, 4, 8, 6, 5, 7, 6, 0, 12}
	records := squadOf("hip_internal_rotation", diffs...)
	prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
	g := prior.Group("hip_internal_rotation", 0)
	if g == nil || !g.Used || g.N != 12 || g.ProtocolMean != 0 || g.ProtocolSD != 6 || g.REML == nil {
		t.Fatalf("%+v", g)
	}
	near(t, "mean", g.Mean, 6, 0.6)
	near(t, "REML's mean", g.REML.Mean, 6, 0.05)
	for i, x := range s.SquadEstimates("hip_internal_rotation", records, Options{Squad: prior}) {
		alone := s.SquadEstimates("hip_internal_rotation", records[i:i+1], Options{})[0]
		if x.Prior != "squad" || math.Abs(x.Plain.Value-diffs[i]) > 1e-9 || math.Abs(x.Estimate.Value-g.Mean) > math.Abs(x.Plain.Value-g.Mean) || x.Estimate.SE >= x.Plain.SE {
			t.Errorf("%+v", x)
		}
		if diffs[i] < 9 && x.Estimate.Value <= alone.Estimate.Value || alone.Prior != "protocol" {
			t.Errorf("%g: by the squad %.2f, by the protocol %.2f", diffs[i], x.Estimate.Value, alone.Estimate.Value)
		}
	}
	f := findingOf(t, s.Score(records[0], Options{Squad: prior}), "hip_internal_rotation_difference")
	near(t, "mean of a further athlete", f.PriorMean, g.NewMean, 0)
	if f.PriorSD != g.NewSD || !(g.NewSD > g.Spread) {
		t.Errorf("a further athlete: %.2f, spread %.2f", g.NewSD, g.Spread)
	}
}

// From how many athletes on, and what is said below that. Strength has no prior of the protocol.
func TestFromHowManyAthletesOn(t *testing.T) {
	s := defaultScorer(t)
	for _, c := range []struct {
		measure string
		kind, n int
		used    bool
		why     string
	}{
		{"shoulder_internal_rotation", 0, 4, false, "4 athletes measured: it is used from 5 on"},
		{"shoulder_internal_rotation", 0, 5, true, ""},
		{"grip_strength", noPrior, 11, false, "11 athletes measured: it is used from 12 on, since the protocol says nothing of such athletes"},
		{"grip_strength", noPrior, 12, true, ""},
		{"shoulder_internal_rotation", 0, 1, false, "1 athlete measured: it is used from 5 on"},
	} {
		diffs := make([]float64, c.n)
		for i := range diffs {
			diffs[i] = float64(i%5) - 1
		}
		records := squadOf(c.measure, diffs...)
		prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
		g := prior.Group(c.measure, c.kind)
		if g == nil || g.Used != c.used || g.Why != c.why || g.N != c.n || prior.Athletes != c.n || (g.REML == nil) != (c.n == 1) {
			t.Errorf("%s, %d: %+v", c.measure, c.n, g)
		}
		rule := map[string]string{"grip_strength": "grip_difference", "shoulder_internal_rotation": "internal_rotation_loss"}[c.measure]
		f := findingOf(t, s.Score(records[0], Options{Squad: prior}), rule)
		if (f.Prior == "squad") != c.used {
			t.Errorf("%s, %d: prior %s", c.measure, c.n, f.Prior)
		}
		if v, ok := f.Likely(); ok != (f.Prior != "none") || ok && c.measure == "grip_strength" && math.Abs(v.Value-s.Shown("grip_strength", Value{f.PostMean, f.PostSD}).Value) > 1e-12 {
			t.Errorf("%s: likely %+v", c.measure, v)
		}
	}
}

// Athletes of different age bands do not say what is usual in each other.
func TestKindsAreApart(t *testing.T) {
	s := defaultScorer(t)
	records := squadOf("shoulder_internal_rotation", 20, 21, 22, 19, 20, 1, 2, 0, 1, 2)
	for _, rec := range records[5:] {
		rec.Athlete.Born = "2012-01-01"
	}
	prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
	old, young := prior.Group("shoulder_internal_rotation", 0), prior.Group("shoulder_internal_rotation", 1)
	if !old.Used || !young.Used || old.N != 5 || young.N != 5 || old.Mean < 15 || young.Mean > 6 {
		t.Errorf("old %+v\nyoung %+v", *old, *young)
	}
	if old.Group != "from 19 years" || young.Group != "below 19 years" {
		t.Errorf("%q, %q", old.Group, young.Group)
	}
}

// Mirror images of a squad's athletes get the same findings, and the order of records changes nothing.
func TestSquadOfMirrorImages(t *testing.T) {
	s := defaultScorer(t)
	var records, turned []*screen.Record
	for i := range 9 {
		rec := fullRecord(s.p, 80)
		rec.Athlete.ID = fmt.Sprint("a", i)
		for k := range rec.Readings {
			rec.Readings[k].Trials[0] += float64((i*7+k*3)%5) - 2
		}
		records = append(records, rec)
		turned = append(turned, rec)
		if i%2 == 0 {
			turned[i] = mirrored(rec)
		}
	}
	slices.Reverse(turned)
	a, b := s.SquadPrior("t", "2026-02-10", records, Options{}, nil), s.SquadPrior("t", "2026-02-10", turned, Options{}, nil)
	for i, rec := range records {
		x, y := s.Score(rec, Options{Squad: a}), s.Score(turned[len(turned)-1-i], Options{Squad: b})
		if err := sameFindings(x, y, true); err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(x.Findings, func(f Finding) bool { return f.Prior == "squad" && f.RuleKind == screen.AllOf }) {
			t.Error("the rule of two conditions does not use the squad's figures")
		}
	}
	slices.Reverse(records)
	if again := s.SquadPrior("t", "2026-02-10", records, Options{}, nil); mustJSON(t, again) != mustJSON(t, a) {
		t.Error("the order of the records changes the squad's figures")
	}
}

func mustJSON(t testing.TB, x any) string {
	t.Helper()
	b, err := json.Marshal(x) // it refuses what is not a number
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// Figures of another protocol are not used, and the report says so; neither are they where no throwing
// side is known.
func TestWhereSquadFiguresAreNotUsed(t *testing.T) {
	s := defaultScorer(t)
	records := squadOf("hip_internal_rotation", 6, 7, 5, 6, 4, 8)
	prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
	plain := s.Score(records[0], Options{})
	other := *prior
	other.Hash = "another"
	rep := s.Score(records[0], Options{Squad: &other})
	if !slices.Contains(rep.Notes, noteSquad) || rep.SquadOn != "" {
		t.Errorf("notes %v", rep.Notes)
	}
	rep.Notes = plain.Notes
	if mustJSON(t, rep) != mustJSON(t, plain) {
		t.Error("figures of another protocol change the score")
	}
	if rep := s.Score(records[0], Options{Squad: prior}); slices.Contains(rep.Notes, noteSquad) {
		t.Error("the note stands without reason")
	}
	both := member("b", "hip_internal_rotation", 6)
	both.Athlete.Hands[0].Hand = screen.BothHands
	if f := findingOf(t, s.Score(both, Options{Squad: prior}), "hip_internal_rotation_difference"); f.Prior != "protocol" {
		t.Errorf("a switch thrower is scored by the prior %q", f.Prior)
	}
	with := s.SquadPrior("t", "2026-02-10", append(records, both), Options{}, map[string]string{"a00": "in pain"})
	if with.Athletes != 5 || len(with.LeftOut) != 2 || with.LeftOut[0] != (LeftOut{"a00", "in pain"}) || with.LeftOut[1].Athlete != "b" {
		t.Errorf("%d counted, left out: %v", with.Athletes, with.LeftOut)
	}
}

// Squads that say nothing, or all the same, give words and numbers, never NaN.
func TestDegenerateSquads(t *testing.T) {
	s := defaultScorer(t)
	empty := recordOf(throwerOf(screen.RightHand, "2000-01-01", screen.Male))
	for name, records := range map[string][]*screen.Record{
		"nobody": nil, "nothing measured": {empty}, "all the same": squadOf("shoulder_internal_rotation", make([]float64, 30)...),
		"far out": squadOf("shoulder_internal_rotation", 400, -400, 400, -400, 400, 0),
		"in log":  squadOf("grip_strength", make([]float64, 14)...),
	} {
		prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
		text := mustJSON(t, prior)
		var back SquadPrior
		if err := json.Unmarshal([]byte(text), &back); err != nil || mustJSON(t, &back) != text {
			t.Errorf("%s: read back differently: %v", name, err)
		}
		for _, rec := range records {
			mustJSON(t, s.Score(rec, Options{Squad: &back}))
		}
		for _, g := range prior.Groups {
			if g.Used == (g.Why != "") {
				t.Errorf("%s: used %v, %q", name, g.Used, g.Why)
			}
			if name == "all the same" && g.Measure == "shoulder_internal_rotation" && (!g.REML.AtZero || g.REML.Note == "") {
				t.Errorf("%s: %+v", name, g.REML)
			}
		}
	}
}

// Truth drawn from the hyperprior, twelve athletes a squad: of findings with a probability around p so
// many are true. Two more athletes of each squad are scored by it without being counted.
func TestSquadPriorIsCalibrated(t *testing.T) {
	const mu0, omega0, tau = 8.0, 7.0, 13.0
	s := New(protocolWith(t, 2, 2.5, tau, mu0, omega0))
	rng := rand.New(rand.NewPCG(11, 5))
	se := s.rules[0].planned
	var n, sum, hits [2][10]float64
	for range 500 {
		mu, omega := mu0+omega0*rng.NormFloat64(), omega0*math.Exp(0.5*rng.NormFloat64())
		diffs, truth := make([]float64, 14), make([]float64, 14)
		for i := range diffs {
			truth[i] = mu + omega*rng.NormFloat64()
			diffs[i] = truth[i] + se*rng.NormFloat64()
		}
		records := squadOf("turn", diffs...)
		prior := s.SquadPrior("t", "2026-02-10", records, Options{}, map[string]string{"a12": "left out", "a13": "left out"})
		for i, rec := range records {
			f := findingOf(t, s.Score(rec, Options{Squad: prior}), "loss")
			k, out := min(9, int(10*f.P)), i/12
			n[out][k]++
			sum[out][k] += f.P
			if truth[i] > tau {
				hits[out][k]++
			}
		}
	}
	for out, least := range []float64{250, 60} {
		for k := range 10 {
			if m := n[out][k]; m >= least {
				sd := math.Sqrt(sum[out][k] / m * (1 - sum[out][k]/m) / m)
				near(t, fmt.Sprintf("left out %d, tenth %d", out, k), hits[out][k]/m, sum[out][k]/m, 0.01+3.5*sd)
			}
		}
	}
}

// The chance to settle with a prior that has a mean, against walking through what the next measurement
// may say. The squad's figures make that case for absolute rules too.
func TestChanceWithAPriorThatHasAMean(t *testing.T) {
	s := New(protocolWith(t, 2, 2.5, 9, 0, 6))
	w := &work{s: s}
	for _, c := range []comparison{
		{tau: 9, absolute: true, prior: true, mu: 5, omega: 6},
		{tau: 9, absolute: true, prior: true, mu: -7, omega: 4},
		{tau: 9, prior: true, mu: 5, omega: 6},
	} {
		e := evaluated{c: c, x: 10, se: 4}
		se := 2.4
		mean, now := c.posterior(e.x, e.se)
		_, sd := c.posterior(0, se)
		step := math.Sqrt(now*now - sd*sd)
		wt := c.omega * c.omega / (c.omega*c.omega + se*se)
		want := 0.0
		for z := -7.0; z < 7; z += 1e-3 {
			m := mean + step*z
			d := c.mu + (m-c.mu)/wt // the combined measurement that leads there
			if s.verdict(c.probability(d, se), c.probability(m, sd)) != Unsettled {
				want += 1e-3 * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
			}
		}
		near(t, fmt.Sprintf("%+v", c), w.chance(&e, se*se), want, 2e-3)
	}
}

// A squad's own repeats may say that differences of sides vary more, or less, than their parts do.
func TestErrorOfPairs(t *testing.T) {
	base := protocolWith(t, 2, 2.5, 13, 8, 7)
	e := base.Measure("turn").Resolved
	e.Pair = 2.25
	s, wide := New(base), New(base.WithErrors(map[string]screen.Error{"turn": e}))
	rec := member("a", "turn", 12)
	x, y := findingOf(t, s.Score(rec, Options{}), "loss"), findingOf(t, wide.Score(rec, Options{}), "loss")
	near(t, "standard error", y.SE, 1.5*x.SE, 1e-9)
	near(t, "errors of the sides", math.Hypot(y.FirstSE, y.SecondSE), y.SE, 1e-9)
	near(t, "target", 13-*y.Target, 1.5*(13-*x.Target), 1e-9)
	near(t, "difference of the pair", wide.Pairs(rec, Options{})[0].Difference.SE, y.SE, 1e-12)
	near(t, "link", *wide.Score(rec, Options{}).Links[0].P, y.P, 1e-9)
	c := &comparison{prior: true, mu: 8, omega: 7, tau: 13}
	_, _, p := c.weighed(12, 1.5*x.SE)
	near(t, "P", y.P, p, 1e-12)
}

func linkOf(r *Report, link string) *LinkResult {
	return &r.Links[slices.IndexFunc(r.Links, func(l LinkResult) bool { return l.Link == link })]
}

// Rules that share nothing: the link's probability is the product of what the findings say, by the squad's
// whole distribution. What an average athlete has stays the protocol's, which says nothing here.
func TestLinkOfIndependentRulesBySquad(t *testing.T) {
	s := defaultScorer(t)
	var records []*screen.Record
	for i := range 12 {
		a, d := member(fmt.Sprintf("a%02d", i), "forearm_pronation", float64(i*5%17)), member("", "forearm_supination", float64(i*7%19))
		a.Readings = append(a.Readings, d.Readings...)
		records = append(records, a)
	}
	prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
	for _, rec := range records {
		rep := s.Score(rec, Options{Squad: prior})
		x, y := findingOf(t, rep, "pronation_difference"), findingOf(t, rep, "supination_difference")
		if x.Prior != "squad" || y.Prior != "squad" {
			t.Fatalf("scored by the priors of the %s and the %s", x.Prior, y.Prior)
		}
		l := linkOf(rep, "wrist")
		near(t, "link", *l.P, 1-(1-x.P)*(1-y.P), 1e-12)
		if l.PUsual != nil {
			t.Error("the protocol says nothing of an average athlete, the link does")
		}
	}
}

// The shoulder's rules share measures: their joint probability takes the moments of the squad's figures
// with the correlation of the protocol's priors (spreads 8.8, 8 and 7 of arc, internal and external
// rotation), against integrating the bivariate normal density.
func TestShoulderBySquad(t *testing.T) {
	s := defaultScorer(t)
	var records []*screen.Record
	for i := range 12 {
		a, d := member(fmt.Sprintf("a%02d", i), irID, float64(i*5%23)), member("", erID, float64(i*7%13)-10)
		a.Readings = append(a.Readings, d.Readings...)
		records = append(records, a)
	}
	prior := s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
	ir, er := prior.Group(irID, 0), prior.Group(erID, 0)
	rho := (8.8*8.8 - 8*8 - 7*7) / (2 * 8 * 7)
	for _, rec := range records {
		rep := s.Score(rec, Options{Squad: prior})
		loss, gain, arc := findingOf(t, rep, "internal_rotation_loss"), findingOf(t, rep, "external_rotation_gain_small"), findingOf(t, rep, "total_arc_loss")
		want, total := 0.0, 0.0
		for x := -60.125; x < 80; x += 0.25 { // thresholds fall between points
			for y := -60.0; y < 60; y += 0.25 {
				a, b := (x-ir.NewMean)/ir.NewSD, (y-er.NewMean)/er.NewSD
				u, v := (x-loss.Difference)/loss.SE, (y-gain.Difference)/gain.SE
				f := math.Exp(-(a*a-2*rho*a*b+b*b)/(2*(1-rho*rho)) - (u*u+v*v)/2)
				total += f
				if x > loss.Threshold && x+y > arc.Threshold {
					want += f
				}
			}
		}
		f := findingOf(t, rep, "rotation_loss_with_arc_loss")
		near(t, "both", f.P, want/total, 3e-3)
		if l, plain := linkOf(rep, "shoulder"), linkOf(s.Score(rec, Options{}), "shoulder"); f.Prior != "squad" || *l.PUsual != *plain.PUsual || *l.P < f.P-1e-3 {
			t.Errorf("link %+v, finding by the prior of the %s", *l, f.Prior)
		}
	}
}

const (
	irID = "shoulder_internal_rotation"
	erID = "shoulder_external_rotation"
)
