package study

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

// Over 200 drawn studies of 16 athletes the estimates' mean is the truth, within three standard errors;
// their spread is that of the degrees of freedom given; and the pooled error is the formula's.
func TestStudyRecoversTheTruth(t *testing.T) {
	p := protocol(t)
	const studies = 200
	for name, c := range map[string]struct {
		plan  plan
		truth map[string]float64
	}{
		"same day":     {turnPlan, map[string]float64{"placing": 2, "trial": 1.5}},
		"two days":     {turnPlan.with(func(p *plan) { p.days, p.day = 2, 2.5 }), map[string]float64{"placing": 2, "trial": 1.5, "day": 2.5}},
		"four helpers": {turnPlan.with(func(p *plan) { p.examiners, p.each = []string{"A", "B", "C", "D"}, 3 }), map[string]float64{"placing": 2, "trial": 1.5}},
		"8 helpers": {turnPlan.with(func(p *plan) {
			p.athletes, p.examiners, p.each = 24, []string{"A", "B", "C", "D", "E", "F", "G", "H"}, 3
		}), map[string]float64{"placing": 2, "trial": 1.5, "examiner": 3}},
	} {
		sum, square, df := map[string]float64{}, map[string]float64{}, map[string]float64{}
		for i := range studies {
			m := measureOf(t, New(p, c.plan.draw(uint64(i))), c.plan.measure)
			for id, sd := range c.truth {
				x := m.component(t, id)
				if x.SD == nil {
					t.Fatalf("%s: %s is not told", name, id)
				}
				v := *x.SD * *x.SD
				sum[id] += v / studies
				square[id] += (v - sd*sd) * (v - sd*sd) / studies
				df[id] += x.DF / studies
				if x.Published > 0 {
					near(t, name+" "+id+" pooled", x.Pooled, math.Sqrt((x.DF*v+20*x.Published*x.Published)/(x.DF+20)), 1e-12)
				}
			}
		}
		for id, sd := range c.truth {
			if bias := sum[id] - sd*sd; math.Abs(bias) > 3*math.Sqrt(square[id]/studies) {
				t.Errorf("%s: %s² is %.3f on average, want %.3f", name, id, sum[id], sd*sd)
			}
			seen := 2 * math.Pow(sd, 4) / square[id]
			if r := df[id] / seen; r < 0.5 || r > 2 {
				t.Errorf("%s: %s is given %.1f degrees of freedom, its spread has %.1f", name, id, df[id], seen)
			}
		}
	}
}

func (p plan) with(change func(*plan)) plan {
	change(&p)
	return p
}

// Every repeat on another day: placing and day are told only together, and share their sum as published.
func TestPlacingAndDayTogether(t *testing.T) {
	p := protocol(t)
	for _, id := range []string{"reach_anterior", "hip_internal_rotation"} {
		x := turnPlan.with(func(p *plan) { p.measure, p.athletes, p.days, p.placings, p.day = id, 30, 2, 1, 2.5 })
		m := measureOf(t, New(p, x.draw(1)), id)
		placing, day := m.component(t, "placing"), m.component(t, "day")
		if placing.SD != nil || day.SD != nil || !strings.Contains(day.Note, "Not told apart from “placed anew”: together") {
			t.Errorf("%s: %+v %+v", id, placing, day)
		}
		if m.component(t, "trial").SD == nil || m.SEMSame == nil || m.Own == nil || m.Own.LowerBound {
			t.Errorf("%s: %+v", id, m)
		}
		sum := *m.SEMSame**m.SEMSame - math.Pow(*m.component(t, "trial").SD, 2)/float64(p.Measure(id).Trials.Planned)
		if math.Abs(sum-4-6.25) > 4 {
			t.Errorf("%s: together %.2f, drawn with %.2f", id, sum, 4+6.25)
		}
		if p.Measure(id).Resolved.LowerBound { // nothing was published of days: what is left is theirs
			near(t, id+" placing", placing.Pooled, placing.Published, 1e-12)
			near(t, id+" day", day.Pooled*day.Pooled, sum-placing.Published*placing.Published, 1e-9)
			continue
		}
		near(t, id+" shares", placing.Pooled/day.Pooled, placing.Published/day.Published, 1e-9)
	}
}

// One trial each: placing and trial are told only together, with and without days.
func TestPlacingAndTrialTogether(t *testing.T) {
	x := turnPlan.with(func(p *plan) { p.trials = 1 })
	m := measureOf(t, New(protocol(t), x.draw(3)), x.measure)
	if m.component(t, "placing").SD != nil || m.component(t, "trial").SD != nil || m.Own == nil {
		t.Errorf("%+v", m)
	}
	near(t, "shares", m.component(t, "placing").Pooled/m.component(t, "trial").Pooled, m.component(t, "placing").Published/m.component(t, "trial").Published, 1e-9)
	x.days, x.placings = 2, 1
	m = measureOf(t, New(protocol(t), x.draw(3)), x.measure)
	if note := m.component(t, "day").Note; !strings.Contains(note, "“placed anew” and “from trial to trial”") {
		t.Error(note)
	}
}

// Repeats are counted by kind, and the kinds' words follow.
func TestRepeatsByKind(t *testing.T) {
	read := func(examiner string, day screen.Date, y float64) Reading {
		return Reading{Athlete: "a", Measure: "hip_internal_rotation", Side: screen.Left, Examiner: examiner, Occasion: day, Trials: []float64{y, y + 1}}
	}
	list := []Reading{read("B", "2026-02-11", 1), read("A", "2026-02-10", 2), read("A", "2026-02-10", 4), read("B", "2026-02-10", 3), read("A", "2026-02-11", 5)}
	m := measureOf(t, New(protocol(t), list), "hip_internal_rotation")
	if m.Same != 1 || m.Other != 2 || m.Days != 1 || m.Athletes != 1 || m.Readings != 5 || m.Examiners != 2 {
		t.Errorf("%+v", m)
	}
	if m.Enough || m.Own != nil || !strings.HasPrefix(m.Statement, "Only 1 athlete was read again") {
		t.Error(m.Statement)
	}
}

// What the readings cannot answer is said in words, in every case; the errors in use are then the
// published ones.
func TestTooLittle(t *testing.T) {
	p := protocol(t)
	same := turnPlan.draw(1)
	for i := range same {
		same[i].Trials = []float64{40, 40}
	}
	copied := turnPlan.draw(1)
	for i := range copied { // second readings are the first ones
		for j := range i {
			if a, b := &copied[j], &copied[i]; a.Athlete == b.Athlete && a.Side == b.Side {
				b.Trials = a.Trials
			}
		}
	}
	nine := turnPlan.with(func(p *plan) { p.athletes, p.placings = 1, 9 }).draw(1)
	once := turnPlan.with(func(p *plan) { p.placings = 1 }).draw(1)
	for name, c := range map[string]struct {
		list []Reading
		want string
	}{
		"two athletes":       {turnPlan.with(func(p *plan) { p.athletes, p.placings = 2, 4 }).draw(1), "Only 2 athletes were read again"},
		"three athletes":     {turnPlan.with(func(p *plan) { p.athletes = 3 }).draw(1), "Only 3 athletes were read again"},
		"one athlete, nine":  {nine, "Only 1 athlete was read again: the error found is theirs"},
		"everybody once":     {once, "Nobody was read twice"},
		"identical readings": {same, "All 24 repeats are exactly as the first reading."},
		"copied readings":    {copied, "All 24 repeats are exactly as the first reading."},
		"few sides":          {oneSide(turnPlan.with(func(p *plan) { p.athletes = 7 }).draw(1)), "7 sides were read again: too few to go by. 8 are needed, better 12."},
	} {
		s := New(p, c.list)
		writable(t, s)
		m := measureOf(t, s, turnPlan.measure)
		if m.Enough || m.Own != nil || !strings.HasPrefix(m.Statement, c.want) {
			t.Errorf("%s: enough %v, own %v: %s", name, m.Enough, m.Own, m.Statement)
		}
		if len(s.Errors()) != 0 || !strings.Contains(strings.Join(s.Remarks, "\n"), m.Statement) {
			t.Errorf("%s: %v, %v", name, s.Errors(), s.Remarks)
		}
	}
	for name, list := range map[string][]Reading{"nothing": nil, "unknown": {{Athlete: "a", Measure: "no_such", Trials: []float64{1}}},
		"not numbers": {{Athlete: "a", Measure: turnPlan.measure, Trials: []float64{math.NaN()}}, {Athlete: "a", Measure: turnPlan.measure}}} {
		s := New(p, list)
		writable(t, s)
		if len(s.Measures) != 0 || s.Athletes != 0 || len(s.Remarks) == 0 || s.Summary[0] != "Nobody was read twice: the published errors stay in use." {
			t.Errorf("%s: %+v", name, s)
		}
	}
	s := New(p, []Reading{{Athlete: "a", Measure: "shoulder_total_arc", Side: screen.Left, Trials: []float64{150}}})
	if s.Remarks[0] != "1 reading is of measures that the protocol does not read: left out." {
		t.Error(s.Remarks)
	}
}

func oneSide(list []Reading) (out []Reading) {
	for _, r := range list {
		if r.Side == screen.Left {
			out = append(out, r)
		}
	}
	return out
}

// A component at zero is flagged and pulls the pooled error down by what the study is worth.
func TestComponentAtZero(t *testing.T) {
	x := turnPlan.with(func(p *plan) { p.placing, p.athletes = 0, 30 })
	for seed := range uint64(20) {
		m := measureOf(t, New(protocol(t), x.draw(seed)), x.measure)
		c := m.component(t, "placing")
		if !c.AtZero {
			continue
		}
		if *c.SD != 0 || c.DF < 5 || !strings.HasPrefix(c.Note, "At zero") {
			t.Errorf("%+v", c)
		}
		near(t, "pooled", c.Pooled*c.Pooled, 20*c.Published*c.Published/(c.DF+20), 1e-12)
		return
	}
	t.Error("of 20 studies without an error of placing none found it at zero")
}

// Examiners are compared by name, against the mean of all, and only where they read the same athletes.
func TestExaminersAreNotRanked(t *testing.T) {
	list := turnPlan.with(func(p *plan) { p.examiners, p.placings = []string{"Z", "A", "M"}, 3 }).draw(2)
	for i := range list {
		for k := range list[i].Trials {
			list[i].Trials[k] += map[string]float64{"Z": 6, "A": 0, "M": -3}[list[i].Examiner]
		}
	}
	list = append(list, Reading{Athlete: "x", Measure: turnPlan.measure, Side: screen.Left, Examiner: "Q", Occasion: "2026-02-10", Trials: []float64{40}},
		Reading{Athlete: "x", Measure: turnPlan.measure, Side: screen.Left, Examiner: "Q", Occasion: "2026-02-10", Trials: []float64{43}})
	m := measureOf(t, New(protocol(t), list), turnPlan.measure)
	if len(m.Bias) != 3 || m.Bias[0].Examiner != "A" || m.Bias[1].Examiner != "M" || m.Bias[2].Examiner != "Z" {
		t.Fatal(m.Bias)
	}
	total := 0.0
	for i, want := range []float64{-1, -4, 5} {
		b := m.Bias[i]
		total += b.Value
		if math.Abs(b.Value-want) > 1.5 || b.Lo >= b.Value || b.Hi <= b.Value {
			t.Errorf("%+v, drawn with %g", b, want)
		}
	}
	near(t, "sum", total, 0, 1e-9)
	if m.BiasNote != "Left out because they share no athlete with the others: Q." || !strings.HasPrefix(m.Bias[2].Words, "Z reads ") || !strings.Contains(m.Bias[2].Words, " more than the mean of all (95 in 100: ") {
		t.Error(m.BiasNote, m.Bias[2].Words)
	}
	if c := m.component(t, "examiner"); c.SD != nil || !strings.HasPrefix(c.Note, "With fewer than 6 examiners") {
		t.Errorf("%+v", c)
	}
	one := measureOf(t, New(protocol(t), turnPlan.draw(1)), turnPlan.measure)
	if len(one.Bias) != 0 || one.SEMOther != nil || one.BiasNote == "" {
		t.Errorf("%+v", one)
	}
}

// Side differences by their own repeats: as the model says where the two sides err independently; surer
// where most of the error is shared by both sides of a placing.
func TestPairFactor(t *testing.T) {
	base := turnPlan.with(func(p *plan) { p.athletes, p.placings = 60, 3 })
	for _, days := range []int{1, 2} {
		base.days, base.day = days, 1.5
		m := measureOf(t, New(protocol(t), base.draw(4)), base.measure)
		if m.Own.Pair < 0.75 || m.Own.Pair > 1.3 {
			t.Errorf("%d days, independent: factor %.2f", days, m.Own.Pair)
		}
		e := m.Own
		near(t, "error of a difference", *m.DiffSE, math.Sqrt(e.Pair*2*(e.Placing*e.Placing+e.Day*e.Day+e.Trial*e.Trial/2)), 1e-12)
		near(t, "change of it", *m.DiffMDC95, 1.96*math.Sqrt2**m.DiffSE, 1e-12)
		shared := base.with(func(p *plan) { p.both, p.placing = 3, 0.5 })
		if m := measureOf(t, New(protocol(t), shared.draw(4)), base.measure); m.Own.Pair > 0.6 {
			t.Errorf("%d days, shared: factor %.2f", days, m.Own.Pair)
		}
	}
	few := measureOf(t, New(protocol(t), turnPlan.with(func(p *plan) { p.athletes = 7 }).draw(1)), turnPlan.measure)
	if few.Own == nil || few.Own.Pair != 0 {
		t.Errorf("seven repeats of a difference: %+v", few.Own)
	}
}

// A derived measure is computed from readings of the same placing; where its parts err against each
// other, its side difference is surer than their errors say.
func TestDerived(t *testing.T) {
	p := protocol(t)
	x := turnPlan.with(func(p *plan) { p.measure, p.athletes = "shoulder_internal_rotation", 40 })
	in := x.draw(9)
	out := make([]Reading, len(in))
	for i, r := range in { // what one reads too much the other reads too little: the arc is exact to 1°
		r.Measure = "shoulder_external_rotation"
		r.Trials = []float64{150 - (r.Trials[0]+r.Trials[1])/2 + float64(i%3)}
		out[i] = r
	}
	m := measureOf(t, New(p, append(in, out...)), "shoulder_total_arc")
	if m.Readings != len(in) || m.Own == nil || m.Own.Pair <= 0 || m.Own.Pair > 0.6 {
		t.Fatalf("%+v, own %+v", m.Readings, m.Own)
	}
	for _, pt := range m.Limits.Points {
		if pt.Mean < 149.9 || pt.Mean > 152.1 {
			t.Errorf("an arc of %g", pt.Mean)
		}
	}
	// One placing without its second part makes no arc.
	m = measureOf(t, New(p, append(in, out[1:]...)), "shoulder_total_arc")
	if m.Readings != len(in)-1 {
		t.Errorf("%d arcs of %d and %d readings", m.Readings, len(in), len(in)-1)
	}
	if s := New(p, in); len(s.Measures) != 1 {
		t.Error("an arc without external rotation")
	}
}

// The strength ratio is compared as the difference of two logarithms; the reach composite divides by
// the mean of all readings of limb length.
func TestDerivedQuotients(t *testing.T) {
	p := protocol(t)
	er := plan{measure: "shoulder_external_rotation_strength", athletes: 20, placings: 2, days: 1, trials: 2, examiners: []string{"A"}, log: true, mean: 4.5, athlete: 0.2, side: 0.1, placing: 0.06, trial: 0.04}
	ir := er.with(func(p *plan) { p.measure, p.mean = "shoulder_internal_rotation_strength", 4.8 })
	m := measureOf(t, New(p, append(er.draw(1), ir.draw(2)...)), "shoulder_strength_ratio")
	if m.Scale != "log" || m.Limits.Points[0].Mean < 0.4 || m.Limits.Points[0].Mean > 1.4 {
		t.Errorf("%+v", m.Limits.Points[0])
	}
	if se := *m.SEMSame; se < 6 || se > 14 { // √2·100·√(0.06² + 0.04²/2) = 9.4
		t.Errorf("SEM of the ratio %.1f %%", se)
	}
	list := []Reading{}
	for i, id := range []string{"reach_anterior", "reach_posteromedial", "reach_posterolateral"} {
		list = append(list, turnPlan.with(func(p *plan) { p.measure, p.mean = id, 80 }).draw(uint64(i))...)
	}
	length := turnPlan.with(func(p *plan) { p.measure, p.mean, p.side, p.placing = "limb_length", 90, 0.2, 0.4 }).draw(7)
	for i := range length {
		length[i].Occasion = "2026-02-01" // taken at another time: it serves all the same
	}
	m = measureOf(t, New(p, append(list, length...)), "reach_composite")
	if x := m.Limits.Points[0].Mean; x < 70 || x > 115 || m.Readings != 48 || m.Own != nil {
		t.Errorf("%g percent, %d readings, own %+v", x, m.Readings, m.Own)
	}
}

// Log measures in percent: an SD of 0.06 is 6 %.
func TestLogScale(t *testing.T) {
	x := plan{measure: "grip_strength", athletes: 60, placings: 2, days: 1, trials: 3, examiners: []string{"A", "B"}, log: true, mean: 3.5, athlete: 0.2, side: 0.05, placing: 0.06, trial: 0.04, each: 0.05}
	m := measureOf(t, New(protocol(t), x.draw(1)), "grip_strength")
	for id, want := range map[string]float64{"placing": 6, "trial": 4} {
		if got := *m.component(t, id).SD; math.Abs(got-want) > 1 {
			t.Errorf("%s %.2f %%, drawn with %g", id, got, want)
		}
	}
	near(t, "own", 100*m.Own.Trial, m.component(t, "trial").Pooled, 1e-12)
	if p := m.Limits.Points[0]; p.Mean < 10 || p.Mean > 100 || m.Scale != "log" || !strings.Contains(m.Statement, " %") {
		t.Errorf("%+v, %s", p, m.Statement)
	}
}

// Counts are left out with a statement; ratings that are all the same have no kappa.
func TestCountsAndRatings(t *testing.T) {
	p := protocol(t)
	var list []Reading
	for a := range 10 {
		for range 2 {
			list = append(list, Reading{Athlete: fmt.Sprint(a), Measure: "stance_errors", Side: screen.Left, Examiner: "A", Occasion: "2026-02-10", Trials: []float64{float64(a % 4)}},
				Reading{Athlete: fmt.Sprint(a), Measure: "scapula_rating", Side: screen.Left, Examiner: "A", Occasion: "2026-02-10", Trials: []float64{1}})
		}
	}
	s := New(p, list)
	writable(t, s)
	if m := measureOf(t, s, "stance_errors"); !strings.HasPrefix(m.Statement, "A count is left out") || len(m.Components) > 0 || m.Own != nil {
		t.Errorf("%+v", m)
	}
	m := measureOf(t, s, "scapula_rating")
	if m.Kappa == nil || m.Kappa.OK || !strings.Contains(m.Statement, "10 of 10 sides were rated the same twice. All ratings are the same category") {
		t.Errorf("%+v, %s", m.Kappa, m.Statement)
	}
}

// A rule that could never be clear with the error found, and one that finds too little, make a measure
// not worth taking; a good one is.
func TestNotWorth(t *testing.T) {
	p := protocol(t)
	bad := turnPlan.with(func(p *plan) { p.measure, p.athletes, p.placing = "lunge_angle", 40, 9 })
	m := measureOf(t, New(p, bad.draw(1)), bad.measure)
	if *m.DiffSE < 0.78*5 || !strings.HasSuffix(m.NotWorth, "so that its limit of 5.0° could never be called clear.") {
		t.Errorf("SE %.2f: %q", *m.DiffSE, m.NotWorth)
	}
	s := New(p, bad.draw(1))
	if !strings.Contains(strings.Join(s.Summary, " "), "Not worth taking as done now, because no rule on them can work with the error found: lunge, shin angle.") {
		t.Error(s.Summary)
	}
	good := turnPlan.with(func(p *plan) { p.athletes, p.placing, p.trial = 60, 0.5, 0.5 })
	if m := measureOf(t, New(p, good.draw(1)), good.measure); m.NotWorth != "" || strings.Contains(strings.Join(m.Notes, " "), "What else") {
		t.Error(m.NotWorth, m.Notes)
	}
	floor := bad.with(func(p *plan) { p.measure = "hip_internal_rotation" }) // a floor looks at it too
	if m := measureOf(t, New(p, floor.draw(1)), floor.measure); m.NotWorth != "" || !strings.Contains(strings.Join(m.Notes, " "), "its limit of 10° could never be called clear. What else it serves for does not hang on that.") {
		t.Error(m.NotWorth, m.Notes)
	}
	signed := bad.with(func(p *plan) { p.measure, p.placing = "shoulder_horizontal_adduction", 14 })
	m = measureOf(t, New(p, signed.draw(1)), signed.measure)
	if !strings.Contains(m.NotWorth, "of 100 athletes truly beyond the limit of 15° ") {
		t.Errorf("SE %.2f: %q", *m.DiffSE, m.NotWorth)
	}
}

// One examiner, and a floor: the whole squad could be off by twice σ_e, which stays as published.
func TestOneExaminerAndAFloor(t *testing.T) {
	p := protocol(t)
	x := turnPlan.with(func(p *plan) { p.measure = "trunk_rotation" })
	s := New(p, x.draw(1))
	m := measureOf(t, s, "trunk_rotation")
	sigma := p.Measure("trunk_rotation").Resolved.Examiner
	want := fmt.Sprintf("could all be off by ± %s (twice", size(2*sigma, "deg"))
	if notes := strings.Join(m.Notes, " "); sigma == 0 || !strings.Contains(notes, want) {
		t.Errorf("%q lacks %q", notes, want)
	}
	m = measureOf(t, New(p, turnPlan.draw(1)), turnPlan.measure)
	if notes := strings.Join(m.Notes, " "); !strings.Contains(notes, "no figure for that is known") {
		t.Error(notes)
	}
	if !strings.Contains(strings.Join(s.Remarks, " "), "One examiner read all") {
		t.Error(s.Remarks)
	}
}

// The sentence that a helper reads.
func TestStatement(t *testing.T) {
	x := turnPlan.with(func(p *plan) { p.examiners, p.each = []string{"A", "B"}, 1 })
	m := measureOf(t, New(protocol(t), x.draw(1)), x.measure)
	want := fmt.Sprintf("Hip internal rotation: apart from how examiners differ, it reads the same when placed anew to within %s on the same day (95 in 100). Your helpers read it to within %s of each other. Side differences under %s cannot be told from error.",
		size(*m.MDC95, "deg"), size(1.96*math.Sqrt2**m.SEMOther, "deg"), size(1.96**m.DiffSE, "deg"))
	if m.Statement != want {
		t.Error(m.Statement)
	}
	m = measureOf(t, New(protocol(t), turnPlan.with(func(p *plan) { p.days = 2 }).draw(1)), x.measure)
	if want := "Hip internal rotation: the same examiner reads it again to within " + size(*m.MDC95, "deg") + " on the same or another day (95 in 100). Side"; !strings.HasPrefix(m.Statement, want) {
		t.Error(m.Statement)
	}
}

// The errors in use can be put to the protocol.
func TestErrorsOfTheStudy(t *testing.T) {
	p := protocol(t)
	s := New(p, turnPlan.draw(1))
	errors := s.Errors()
	e, ok := errors[turnPlan.measure]
	if !ok || len(errors) != 1 || e.Trial <= 0 || e.Placing <= 0 || !strings.HasPrefix(e.Source, "the squad's own study: 24 repeats of 12 athletes, pooled with ") {
		t.Errorf("%+v", errors)
	}
	if got := p.WithErrors(errors).Measure(turnPlan.measure).Resolved; got != e {
		t.Errorf("%+v", got)
	}
	if e.LowerBound != p.Measure(turnPlan.measure).Resolved.LowerBound || e.Day != p.Measure(turnPlan.measure).Resolved.Day {
		t.Error("repeats on one day say nothing of days")
	}
}

// Readings that stand are gathered, those of a screen's examiner under that name.
func TestFromRecords(t *testing.T) {
	rec := &screen.Record{Screen: screen.Screen{Athlete: "a", On: "2026-02-10", Examiner: "K"}, Readings: []screen.Reading{
		{Measure: "m", Side: screen.Left, Trials: []float64{1}}, {Measure: "m", Side: screen.Left, Examiner: "L", Trials: []float64{2}},
		{Measure: "m", Trials: []float64{3}, Withdrawn: "slipped"}, {Measure: "m", Trials: []float64{3}, Superseded: "x"}, {Measure: "m"}}}
	got := FromRecords([]*screen.Record{rec})
	if len(got) != 2 || got[0].Examiner != "K" || got[1].Examiner != "L" || got[0].Athlete != "a" || got[0].Occasion != "2026-02-10" {
		t.Errorf("%+v", got)
	}
}
