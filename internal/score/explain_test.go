package score

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenhand/internal/demo"
	"evenhand/internal/screen"
)

// told is a test that can fail; property tests have their own kind.
type told interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// explained are the terms of an explanation by step and label.
type explained struct {
	t    told
	name string
	e    *Explanation
}

func explain(t told, s *Scorer, rec *screen.Record, opt Options, f *Finding) explained {
	t.Helper()
	e, err := s.Explain(rec, opt, f.Rule, f.Side)
	if err != nil {
		t.Fatalf("%s: %v", f.Rule, err)
	}
	return explained{t, fmt.Sprint(rec.Screen.ID, " ", f.Rule, " ", f.Side), e}
}

// number is the number of a term; the last one of that label in the step.
func (x explained) number(step, label string) (float64, bool) {
	found, value := false, 0.0
	for i := range x.e.Steps {
		for _, term := range x.e.Steps[i].Terms {
			if x.e.Steps[i].Title == step && term.Label == label && term.Number != nil {
				found, value = true, *term.Number
			}
		}
	}
	return value, found
}

// is checks a term against the report.
func (x explained) is(step, label string, want float64) {
	x.t.Helper()
	got, ok := x.number(step, label)
	if !ok {
		x.t.Errorf("%s: no %q in %q", x.name, label, step)
		return
	}
	if !(math.Abs(got-want) <= 1e-9*max(1, math.Abs(want))) {
		x.t.Errorf("%s %s: got %.12g, want %.12g", x.name, label, got, want)
	}
}

const (
	stepDifference = "The difference and its direction"
	stepAlone      = "By the measurement alone"
	stepKnown      = "With what is known of such athletes"
	stepReach      = "What to reach"
)

// agrees checks every number of an explanation that the finding has too.
func (x explained) agrees(f *Finding) {
	x.t.Helper()
	size := func(v float64) float64 {
		if f.Kind == "absolute" && f.RuleKind != screen.Floor && f.RuleKind != screen.Ceiling && f.RuleKind != screen.RatioFloor {
			return math.Abs(v)
		}
		return v
	}
	counted := f.Unit == "{count}"
	switch {
	case f.RuleKind == screen.AllOf:
		x.is("Both together", "Both, by the measurement alone", f.PMeasured)
		x.is("Both together", "Both, with what is known", f.P)
		if len(x.e.Parts) != 2 {
			x.t.Errorf("%s: conditions %v", x.name, x.e.Parts)
		}
		return
	case f.RuleKind == screen.SideDifference || f.RuleKind == screen.SidePercent:
		x.is(stepDifference, "Difference", size(f.Difference))
		x.is("The error of the difference", "Give or take", 1.96*f.SE)
		if f.Target != nil {
			x.is(stepReach, "Target", *f.Target)
		}
	case counted:
		x.is("The readings", "In one trial", f.Difference)
		x.is("The error of the value", "Standard error", f.SE)
		x.is("By the count alone", "By the measurement alone", f.PMeasured)
	default:
		x.is("The error of the value", "Give or take", 1.96*f.SE)
	}
	x.is("The threshold", "Threshold", f.Threshold)
	if !counted {
		x.is(stepAlone, "By the measurement alone", f.PMeasured)
	}
	x.is(stepKnown, "With what is known", f.P)
	if f.RuleKind == screen.SideDifference && f.Prior != "none" {
		want := f.PostMean
		if got, _ := x.number(stepKnown, "Most likely true difference"); f.Kind == "absolute" && got*want < 0 {
			want = -want
		}
		x.is(stepKnown, "Most likely true difference", want)
		x.is(stepKnown, "Its spread", f.PostSD)
	}
}

// sound checks that every word and number of an explanation can be shown.
func (x explained) sound(f *Finding) {
	x.t.Helper()
	if x.e.Verdict != f.Verdict || x.e.Sentence == "" || x.e.Name == "" || len(x.e.Steps) < 3 || len(x.e.Change) > 6 {
		x.t.Errorf("%s: verdict %s, %d steps, %d sentences", x.name, x.e.Verdict, len(x.e.Steps), len(x.e.Change))
	}
	all := strings.Join(x.e.Change, "\n")
	for _, step := range x.e.Steps {
		if step.Title == "" || step.Text == "" || !strings.HasSuffix(step.Text, ".") {
			x.t.Errorf("%s: step %+v", x.name, step)
		}
		all += "\n" + step.Title + step.Text
		for _, term := range step.Terms {
			all += "\n" + term.Label + term.Value + term.Note
			if term.Label == "" || term.Value == "" || term.Number != nil && math.IsNaN(*term.Number-*term.Number) {
				x.t.Errorf("%s, %s: term %+v", x.name, step.Title, term)
			}
		}
	}
	for _, bad := range []string{"NaN", "Inf", "%!", "!", "..", "  ", " ,", "−0 ", "−0.0 ", "−0°"} {
		if strings.Contains(all, bad) {
			x.t.Errorf("%s: %q in\n%s", x.name, bad, all)
		}
	}
}

// Every finding of every screen of the demo squad can be explained, and the steps come to its numbers:
// with the protocol's prior, with readings heaped on 5°, and with what is usual in the squad.
func TestEveryFindingIsExplained(t *testing.T) {
	s := defaultScorer(t)
	squad := demo.Squad(s.p, 1, "2026-11-25")
	var day []*screen.Record
	for i := range squad.Records {
		day = append(day, &squad.Records[i])
	}
	usual := s.SquadPrior("t", "2026-11-25", day, Options{}, nil)
	rules, priors := map[string]bool{}, map[string]int{}
	for k, opt := range []Options{{}, {Heaped: true}, {Squad: usual}} {
		for i, rec := range day {
			if k > 0 && i%5 != k {
				continue
			}
			rep := s.Score(rec, opt)
			for i := range rep.Findings {
				f := &rep.Findings[i]
				x := explain(t, s, rec, opt, f)
				x.sound(f)
				x.agrees(f)
				rules[f.Rule] = true
				priors[f.Prior]++
			}
		}
	}
	if len(rules) < 24 || priors["squad"] == 0 || priors["protocol"] == 0 || priors["none"] == 0 {
		t.Errorf("%d rules explained; priors %v", len(rules), priors)
	}
}

// A reference row computed with SciPy, followed step by step: D = 15.3, the parts of the error from the
// given standard deviations, SE, and both probabilities stand in the steps.
func TestExplainedAgainstSciPy(t *testing.T) {
	for i, row := range sciPyRows(t) {
		s := New(protocolWith(t, row.Within, row.Between, row.Threshold, row.PriorMean, row.PriorSD))
		rec := recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male),
			reading("turn", screen.Right, row.Throwing...), reading("turn", screen.Left, row.NonThrowing...))
		x := explain(t, s, rec, Options{}, findingOf(t, s.Score(rec, Options{}), "loss"))
		x.name = fmt.Sprint("row ", i)
		const errors = "The error of the difference"
		n1, n2 := float64(len(row.Throwing)), float64(len(row.NonThrowing))
		x.is(stepDifference, "Difference", row.Difference)
		x.is(errors, "From trial to trial", row.Within*row.Within*(1/n1+1/n2))
		x.is(errors, "From placing to placing", 2*row.Between*row.Between)
		x.is(errors, "Standard error", row.SE)
		x.is(stepAlone, "In standard errors", (row.Difference-row.Threshold)/row.SE)
		x.is(stepAlone, "By the measurement alone", row.PFlat)
		x.is(stepKnown, "Most likely true difference", row.PostMean)
		x.is(stepKnown, "Its spread", row.PostSD)
		x.is(stepKnown, "With what is known", row.PPrior)
		if i != 3 {
			continue
		}
		for _, want := range []string{"61.5, 67.2, 57.3 → 62.00°", "15.30°", "62.00° − 46.70°", "2.90°", "79 in 100", "14.23°", "68 in 100"} {
			if !strings.Contains(fmt.Sprint(x.e.Steps), want) {
				t.Errorf("row 3: %q is not shown in %v", want, x.e.Steps)
			}
		}
	}
}

// Whatever readings by however many examiners: the weights give the estimate back, and the parts of the
// variance add up to that of the difference.
func TestPartsOfTheErrorAddUp(t *testing.T) {
	s := defaultScorer(t)
	a := throwerOf(screen.RightHand, "2000-01-01", screen.Male)
	by := func(side screen.Side, examiner string, step float64, trials ...float64) screen.Reading {
		r := reading("shoulder_internal_rotation", side, trials...)
		r.Examiner, r.Step = examiner, step
		return r
	}
	for name, list := range map[string][]screen.Reading{
		"one examiner":            {by(screen.Right, "k", 1, 40, 42), by(screen.Left, "k", 1, 60, 61)},
		"two examiners":           {by(screen.Right, "k", 1, 40), by(screen.Left, "l", 1, 60, 61)},
		"read twice":              {by(screen.Right, "k", 1, 40, 42), by(screen.Right, "k", 5, 45), by(screen.Left, "k", 1, 60)},
		"one on both, one on one": {by(screen.Right, "k", 1, 40), by(screen.Right, "l", 1, 48, 47), by(screen.Left, "k", 1, 60)},
		"three, crossed":          {by(screen.Right, "k", 1, 40), by(screen.Right, "l", 5, 50), by(screen.Left, "l", 1, 60), by(screen.Left, "m", 1, 66, 67, 65)},
	} {
		rec := recordOf(a, list...)
		f := findingOf(t, s.Score(rec, Options{}), "internal_rotation_loss")
		x := explain(t, s, rec, Options{}, f)
		x.name = name
		x.agrees(f)
		parts := 0.0
		for _, label := range sourceNames {
			v, _ := x.number("The error of the difference", label)
			parts += v
		}
		near(t, name+": sum of the parts", parts, f.SE*f.SE, 1e-9)
		w := &work{}
		w.begin(s, rec, Options{})
		for side := range 2 {
			sum, weights := 0.0, 0.0
			for _, r := range w.weigh(s.p.MeasureIndex("shoulder_internal_rotation"), Options{}) {
				sum += r.weight[side] * r.y
				if r.side == side {
					weights += r.weight[side]
				}
			}
			near(t, name+": weighted mean", sum, w.est[s.p.MeasureIndex("shoulder_internal_rotation")].mean[side], 1e-9)
			near(t, name+": weights of a side", weights, 1, 1e-9)
		}
		text := fmt.Sprint(x.e.Steps)
		if cancels := strings.Contains(text, "cancels"); cancels != (name == "one examiner" || name == "read twice") {
			t.Errorf("%s: says that the examiner cancels: %v", name, cancels)
		}
		if crossed := strings.Contains(text, "what an examiner read on both sides also enters"); crossed != (name == "one on both, one on one" || name == "three, crossed") {
			t.Errorf("%s: says that the other side's readings enter: %v", name, crossed)
		}
	}
}

// Within a year of the 19th birthday both thresholds are explained.
func TestExplainedAtTheSwitch(t *testing.T) {
	s := defaultScorer(t)
	rec := recordOf(throwerOf(screen.RightHand, "2007-02-11", screen.Male), shoulder(screen.Right, screen.Left, 40, 59, 100, 95)...)
	f := findingOf(t, s.Score(rec, Options{}), "internal_rotation_loss")
	x := explain(t, s, rec, Options{}, f)
	x.is("The verdict", "At the neighbouring threshold, 20°", f.AtSwitch.P)
	if all := strings.Join(x.e.Change, " "); !strings.Contains(all, "With the threshold of the neighbouring age, 20°, it would be "+string(f.AtSwitch.Verdict)) {
		t.Error(all)
	}
}

// Counts at the cap, switch throwers, best-of trials, and readings that are not used.
func TestExplainedOddities(t *testing.T) {
	s := defaultScorer(t)
	right := throwerOf(screen.RightHand, "2011-01-01", screen.Male)
	count := recordOf(right, reading("stance_errors", screen.Left, 10), reading("stance_errors", screen.Right, 3))
	rep := s.Score(count, Options{})
	for i := range rep.Findings {
		x := explain(t, s, count, Options{}, &rep.Findings[i])
		x.sound(&rep.Findings[i])
		x.agrees(&rep.Findings[i])
		if capped := strings.Contains(fmt.Sprint(x.e.Steps), "at least so many"); capped != (rep.Findings[i].Side == screen.Left) {
			t.Errorf("%s: speaks of the cap: %v", rep.Findings[i].Side, capped)
		}
	}

	both := recordOf(throwerOf(screen.BothHands, "2000-01-01", screen.Male), shoulder(screen.Right, screen.Left, 35, 63, 100, 90)...)
	f := findingOf(t, s.Score(both, Options{}), "internal_rotation_loss")
	x := explain(t, s, both, Options{}, f)
	x.agrees(f)
	if text := fmt.Sprint(x.e.Steps); !strings.Contains(text, "sides are only compared") || !strings.Contains(text, "Right side") || strings.Contains(text, "hrowing side (") {
		t.Error(text)
	}

	best := recordOf(right, reading("stance_time_eyes_closed", screen.Left, 8, 12, 9))
	f = findingOf(t, s.Score(best, Options{}), "stance_time_short")
	x = explain(t, s, best, Options{}, f)
	x.agrees(f)
	// best of three less 0.8463 times 25 % on the log scale: 12·exp(−0.2116) = 9.71
	if text := fmt.Sprint(x.e.Steps); !strings.Contains(text, "8, 12, 9 → 9.71 s") || !strings.Contains(text, "that much is taken off") {
		t.Error(text)
	}

	rec := recordOf(right, append(shoulder(screen.Right, screen.Left, 45, 61, 100, 95), reading("shoulder_internal_rotation", screen.Right, 99))...)
	rec.Readings[4].Withdrawn = "wrong athlete"
	x = explain(t, s, rec, Options{}, findingOf(t, s.Score(rec, Options{}), "internal_rotation_loss"))
	if text := fmt.Sprint(x.e.Steps[0]); !strings.Contains(text, "One reading that was corrected or taken back is not used.") || strings.Contains(text, "99") {
		t.Error(text)
	}
}

// The error of a difference that was found from the squad's own repeats is a step of its own.
func TestExplainedOwnRepeats(t *testing.T) {
	p := protocolWith(t, 1, 2, 13, 8, 7)
	e := p.Measures[0].Resolved
	e.Pair = 1.5
	s := New(p.WithErrors(map[string]screen.Error{"turn": e}))
	rec := recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male), reading("turn", screen.Right, 45, 47), reading("turn", screen.Left, 60, 62))
	f := findingOf(t, s.Score(rec, Options{}), "loss")
	x := explain(t, s, rec, Options{}, f)
	x.agrees(f)
	x.is("The error of the difference", "By the squad's own repeats of the difference", 1.5*(2*4+2*0.5))
}

func TestNothingToExplain(t *testing.T) {
	s := defaultScorer(t)
	rec := recordOf(throwerOf(screen.RightHand, "2011-01-01", screen.Male), reading("stance_errors", screen.Left, 4))
	for _, c := range []struct {
		rule string
		side screen.Side
	}{{"nothing", ""}, {"internal_rotation_loss", ""}, {"stance_errors_high", screen.Right}} {
		if _, err := s.Explain(rec, Options{}, c.rule, c.side); !screen.IsCode(err, screen.NotFound) {
			t.Errorf("%s %s: %v", c.rule, c.side, err)
		}
	}
	if e, err := s.Explain(rec, Options{}, "stance_errors_high", ""); err != nil || e.Side != screen.Left {
		t.Errorf("without a side: %+v, %v", e, err)
	}
}

func BenchmarkExplain(b *testing.B) {
	s := defaultScorer(b)
	rec := recordOf(throwerOf(screen.RightHand, "2011-01-01", screen.Male), shoulder(screen.Right, screen.Left, 40, 58, 100, 95)...)
	for b.Loop() {
		if _, err := s.Explain(rec, Options{}, "rotation_loss_with_arc_loss", ""); err != nil {
			b.Fatal(err)
		}
	}
}

// Whatever is read, by whomever, is explained by numbers that agree with the score's.
func TestExplainedWhateverIsRead(t *testing.T) {
	s := defaultScorer(t)
	rapid.Check(t, func(rt *rapid.T) {
		rec := drawRecord(rt, s.p)
		rep := s.Score(rec, Options{})
		if len(rep.Findings) == 0 {
			return
		}
		f := &rep.Findings[rapid.IntRange(0, len(rep.Findings)-1).Draw(rt, "finding")]
		x := explain(rt, s, rec, Options{}, f)
		x.sound(f)
		x.agrees(f)
	})
}
