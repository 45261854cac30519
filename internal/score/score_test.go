package score

import (
	"math"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

func shoulder(throwing, other screen.Side, irT, irO, erT, erO float64) []screen.Reading {
	return []screen.Reading{
		reading("shoulder_internal_rotation", throwing, irT, irT), reading("shoulder_internal_rotation", other, irO, irO),
		reading("shoulder_external_rotation", throwing, erT, erT), reading("shoulder_external_rotation", other, erO, erO),
	}
}

// Less internal rotation with the arc kept is an adaptation; with the arc lost too it is a deficit.
func TestTwoConditions(t *testing.T) {
	s := defaultScorer(t)
	a := throwerOf(screen.RightHand, "2000-01-01", screen.Male)
	for _, c := range []struct {
		name    string
		irT     float64
		erT     float64
		verdict Verdict
		reason  string
	}{
		{"arc kept", 32, 125, Clear, reasonExpected},
		{"arc lost", 28, 90, Deficit, reasonAgree},
		{"arc not settled", 25, 123, Unsettled, reasonHalf},
	} {
		rep := s.Score(recordOf(a, shoulder(screen.Right, screen.Left, c.irT, 63, c.erT, 90)...), Options{})
		f := findingOf(t, rep, "rotation_loss_with_arc_loss")
		if f.Verdict != c.verdict || f.Reason != c.reason {
			t.Errorf("%s: %s, %q (P %.2f, %.2f)", c.name, f.Verdict, f.Reason, f.PMeasured, f.P)
		}
	}
}

// Both arms of a switch thrower throw: sides are only compared, a rule that expects a gain of the
// throwing side does not apply, and a prior that has a mean says nothing.
func TestSwitchThrower(t *testing.T) {
	s := defaultScorer(t)
	rep := s.Score(recordOf(throwerOf(screen.BothHands, "2000-01-01", screen.Male), shoulder(screen.Right, screen.Left, 35, 63, 100, 90)...), Options{})
	if slices.ContainsFunc(rep.Findings, func(f Finding) bool { return f.Rule == "external_rotation_gain_small" }) {
		t.Error("a gain of the throwing side is asked of a switch thrower")
	}
	f := findingOf(t, rep, "internal_rotation_loss")
	if f.Kind != "absolute" || f.Prior != "none" || f.Worse != "right" || f.P != f.PMeasured || rep.Sides {
		t.Errorf("%+v", f)
	}
	if !slices.Contains(rep.Notes, noteCompared) {
		t.Error("the report does not say that sides are only compared")
	}
}

// A sport that bears weight on the arms has no throwing side; its rules can ask for that.
func TestSportThatBearsWeightOnTheArms(t *testing.T) {
	p, err := screen.LoadProtocol("ours.yaml", strings.NewReader(`
extends: default
name: with-gymnastics
version: "1"
title: a sport that bears weight on the arms
sports:
  - {id: gymnastics, name: Gymnastics, throws: false, arms_bear_weight: true, profile: weight_bearing}
rules:
  - id: loaded_elbow_extension
    name: Elbow extension, arms that bear weight
    link: elbow
    kind: floor
    measure: elbow_extension
    side: each
    when: {arms_bear_weight: true}
    thresholds: [{value: -5, unit: deg, status: common_practice}]
    counted: true
`))
	if err != nil {
		t.Fatal(err)
	}
	s := New(p)
	a := throwerOf(screen.RightHand, "2012-01-01", screen.Female)
	a.Sport = "gymnastics"
	rep := s.Score(recordOf(a, reading("elbow_extension", screen.Left, -14, -14), reading("elbow_extension", screen.Right, 2, 2)), Options{})
	n := 0
	for _, f := range rep.Findings {
		if f.Rule == "loaded_elbow_extension" {
			n++
			if want := map[screen.Side]Verdict{screen.Left: Deficit, screen.Right: Clear}[f.Side]; f.Verdict != want {
				t.Errorf("%s: %s, P %.2f", f.Side, f.Verdict, f.P)
			}
		}
	}
	if n != 2 || rep.Sides {
		t.Errorf("%d findings on single elbows, throwing side known: %v", n, rep.Sides)
	}
	thrower := s.Score(recordOf(throwerOf(screen.RightHand, "2012-01-01", screen.Female), reading("elbow_extension", screen.Left, -14)), Options{})
	if slices.ContainsFunc(thrower.Findings, func(f Finding) bool { return f.Rule == "loaded_elbow_extension" }) {
		t.Error("the rule applies to a thrower")
	}
}

// Within a year of the 19th birthday the internal rotation rule shows both thresholds, 13° and 20°.
func TestAgeSwitch(t *testing.T) {
	s := defaultScorer(t)
	for _, c := range []struct {
		born      screen.Date
		threshold float64
		other     float64
	}{{"2008-02-11", 13, 0}, {"2008-02-10", 13, 20}, {"2007-02-11", 13, 20}, {"2007-02-10", 20, 13}, {"2006-02-11", 20, 13}, {"2006-02-10", 20, 0}} {
		rep := s.Score(recordOf(throwerOf(screen.RightHand, c.born, screen.Male), shoulder(screen.Right, screen.Left, 40, 56, 100, 95)...), Options{})
		f := findingOf(t, rep, "internal_rotation_loss")
		if f.Threshold != c.threshold {
			t.Errorf("born %s: threshold %g, want %g", c.born, f.Threshold, c.threshold)
		}
		if got := f.AtSwitch; (got == nil) != (c.other == 0) || got != nil && got.Threshold != c.other {
			t.Errorf("born %s: other threshold %+v, want %g", c.born, got, c.other)
		}
	}
}

func TestTargets(t *testing.T) {
	s := New(protocolWith(t, 1, 2, 13, 8, 7))
	se := math.Sqrt(2 * (4 + 1))
	signed := s.target(&comparison{tau: 13}, se)
	near(t, "signed target τ − z·SE", signed.Value, 13-0.8416212*se, 1e-6)
	absolute := s.target(&comparison{tau: 13, absolute: true}, se)
	near(t, "absolute target is clear with 0.20", stat.Beyond(13, absolute.Value, se), 0.20, 1e-9)
	if s.target(&comparison{tau: 2}, se).OK {
		t.Error("a target below no difference cannot be shown")
	}
	if s.target(&comparison{tau: 3, absolute: true}, se).OK {
		t.Error("an absolute rule with SE ≥ 0.78 τ has no target")
	}
	if tgt := s.target(&comparison{tau: -5}, se); !tgt.OK || tgt.Value >= -5 {
		t.Errorf("a gain of 5° asks for more than 5°: %+v", tgt)
	}
	rep := s.Score(recordOf(throwerOf(screen.LeftHand, "2011-04-02", screen.Male), reading("turn", screen.Left, 30), reading("turn", screen.Right, 55)), Options{})
	f := findingOf(t, rep, "loss")
	near(t, "reading of the throwing side", *f.Reading, 55-*f.Target, 0.5)
	gain := findingOf(t, defaultScorer(t).Score(recordOf(throwerOf(screen.RightHand, "2000-01-01", screen.Male), shoulder(screen.Right, screen.Left, 50, 55, 93, 90)...), Options{}), "external_rotation_gain_small")
	if gain.Worse != "right" || *gain.Reading < 95 {
		t.Errorf("a small gain asks for more external rotation of the throwing side: %s, %g", gain.Worse, *gain.Reading)
	}
}

func TestReferralAndNoted(t *testing.T) {
	s := defaultScorer(t)
	var sign string
	for _, d := range s.p.Symptoms {
		if d.Referral {
			sign = d.ID
			break
		}
	}
	rec := recordOf(throwerOf(screen.RightHand, "2012-01-01", screen.Male), reading("scapula_rating", screen.Right, 2))
	rec.Symptoms = []screen.Symptom{{ID: "1", Symptom: sign}, {ID: "2", Symptom: sign, Withdrawn: "entered for the wrong athlete"}}
	item := s.p.Checklist[0].ID
	rec.Checklist = []screen.ChecklistAnswer{{ID: "3", Item: item, Answer: screen.Met}, {ID: "4", Item: item, Answer: screen.NotMet}}
	rep := s.Score(rec, Options{})
	if !slices.Equal(rep.Referral, []string{sign}) {
		t.Errorf("referral signs %v", rep.Referral)
	}
	want := map[string]bool{"rating": false, "checklist": false, "symptom": false}
	for _, n := range rep.Noted {
		want[n.Kind] = n.Flagged
	}
	if !want["rating"] || !want["checklist"] || !want["symptom"] || len(rep.Findings) != 0 {
		t.Errorf("noted %+v", rep.Noted)
	}
}

// A protocol may have rules about items and symptoms; they are noted with their rule, never counted.
func TestRulesAboutItemsAndSymptoms(t *testing.T) {
	item, sore := defaultScorer(t).p.Checklist[0].ID, ""
	for _, d := range defaultScorer(t).p.Symptoms {
		if !d.Referral {
			sore = d.ID
		}
	}
	p, err := screen.LoadProtocol("ours.yaml", strings.NewReader("extends: default\nname: ours\nversion: '1'\ntitle: t\nrules:\n"+
		"  - {id: on_item, name: Item, link: trunk, kind: checklist, about: "+item+"}\n"+
		"  - {id: on_symptom, name: Symptom, link: elbow, kind: symptom, about: "+sore+", when: {age_below: 14}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		born screen.Date
		rule string
	}{{"2014-01-01", "on_symptom"}, {"2008-01-01", ""}} {
		rec := recordOf(throwerOf(screen.RightHand, c.born, screen.Male))
		rec.Symptoms = []screen.Symptom{{ID: "1", Symptom: sore}}
		rec.Checklist = []screen.ChecklistAnswer{{ID: "3", Item: item, Answer: screen.NotMet}}
		for _, n := range New(p).Score(rec, Options{}).Noted {
			if want := map[string]string{"symptom": c.rule, "checklist": "on_item"}[n.Kind]; n.Rule != want {
				t.Errorf("born %s: %s has the rule %q, want %q", c.born, n.Kind, n.Rule, want)
			}
		}
	}
	if _, err := screen.LoadProtocol("ours.yaml", strings.NewReader("extends: default\nname: ours\nversion: '1'\ntitle: t\nrules:\n  - {id: x, name: X, link: trunk, kind: checklist, about: nothing}\n")); err == nil || !strings.Contains(err.Error(), "ours.yaml:6") {
		t.Errorf("%v", err)
	}
}

func TestTriageOrder(t *testing.T) {
	s := defaultScorer(t)
	athlete := func(id string, irT float64, all bool) *Report {
		a := throwerOf(screen.RightHand, "2000-01-01", screen.Male)
		a.ID = id
		readings := shoulder(screen.Right, screen.Left, irT, 63, 90+(irT-40)/2, 90)
		if all {
			for _, m := range []string{"shoulder_horizontal_adduction", "shoulder_flexion", "hip_internal_rotation", "trunk_rotation", "elbow_extension", "scapula_distance_rest", "lunge_distance"} {
				x := s.p.Measure(m)
				v := (x.Typical[0] + x.Typical[1]) / 2
				readings = append(readings, reading(m, screen.Left, v, v), reading(m, screen.Right, v, v))
			}
		}
		return s.Score(recordOf(a, readings...), Options{})
	}
	sore := athlete("d", 60, true)
	sore.Referral = []string{s.p.Symptoms[0].ID}
	rows := s.Triage([]*Report{athlete("a", 60, true), athlete("b", 25, true), athlete("c", 25, false), sore})
	var order []string
	for i, r := range rows {
		order = append(order, r.Athlete)
		if r.Rank != i+1 || r.Why == "" || r.Expected != math.Round(2*r.Expected)/2 {
			t.Errorf("row %d: %+v", i, r)
		}
	}
	if !slices.Equal(order, []string{"d", "b", "a", "c"}) {
		t.Errorf("order %v", order)
	}
	if rows[0].Group != GroupReferral || rows[3].Group != GroupMeasureFirst {
		t.Errorf("groups %+v", rows)
	}
}

// A clinic that reads angles to 5° has the rounding error of that step in every angle.
func TestHeapingWidensTheError(t *testing.T) {
	s := New(protocolWith(t, 1, 2, 13, 8, 7))
	rec := recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male), reading("turn", screen.Right, 40), reading("turn", screen.Left, 55))
	fine := findingOf(t, s.Score(rec, Options{}), "loss").SE
	coarse := findingOf(t, s.Score(rec, Options{Heaped: true}), "loss").SE
	near(t, "variance added on each side", coarse*coarse-fine*fine, 2*25.0/12, 1e-9)
	rec.Readings[0].Step, rec.Readings[1].Step = 2, 2
	step := findingOf(t, s.Score(rec, Options{}), "loss").SE
	near(t, "variance of a step of 2°", step*step-fine*fine, 2*4.0/12, 1e-9)
}

// Two examiners, each on both sides: their biases cancel; one a side: they do not.
func TestExaminers(t *testing.T) {
	s := defaultScorer(t)
	e := s.p.Measure("shoulder_internal_rotation").Resolved
	base := 2 * (e.Placing*e.Placing + e.Day*e.Day + e.Trial*e.Trial)
	score := func(readings ...screen.Reading) float64 {
		return findingOf(t, s.Score(recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male), readings...), Options{}), "internal_rotation_loss").SE
	}
	by := func(examiner string, side screen.Side) screen.Reading {
		r := reading("shoulder_internal_rotation", side, 50)
		r.Examiner = examiner
		return r
	}
	near(t, "one examiner", math.Pow(score(by("k", screen.Left), by("k", screen.Right)), 2), base, 1e-9)
	near(t, "one a side", math.Pow(score(by("k", screen.Left), by("l", screen.Right)), 2), base+2*e.Examiner*e.Examiner, 1e-9)
	day := 2 * e.Day * e.Day
	near(t, "two on both sides", math.Pow(score(by("k", screen.Left), by("k", screen.Right), by("l", screen.Left), by("l", screen.Right)), 2), day+(base-day)/2, 1e-9)
	many := []screen.Reading{}
	for _, x := range "abcdefgh" {
		many = append(many, by(string(x), screen.Left), by(string(x), screen.Right))
	}
	near(t, "eight on both sides", math.Pow(score(many...), 2), day+(base-day)/8, 1e-9)
}

// The errors shown for the sides add up to that of the difference.
func TestSideErrorsAddUp(t *testing.T) {
	s := defaultScorer(t)
	rep := s.Score(fullRecord(s.p, 80), Options{})
	for i := range rep.Findings {
		f := &rep.Findings[i]
		if f.RuleKind == screen.SideDifference {
			near(t, f.Rule, math.Hypot(f.FirstSE, f.SecondSE), f.SE, 1e-9)
		}
	}
}

func TestSuperseded(t *testing.T) {
	s := defaultScorer(t)
	rec := recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male), shoulder(screen.Right, screen.Left, 50, 55, 100, 95)...)
	want := findingOf(t, s.Score(rec, Options{}), "internal_rotation_loss").Difference
	wrong := reading("shoulder_internal_rotation", screen.Right, 5)
	wrong.Superseded = "r0"
	rec.Readings = append(rec.Readings, wrong)
	near(t, "a corrected reading does not count", findingOf(t, s.Score(rec, Options{}), "internal_rotation_loss").Difference, want, 0)
}

func TestEmptyRecord(t *testing.T) {
	s := defaultScorer(t)
	rep := s.Score(recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male)), Options{})
	if len(rep.Findings) != 0 || rep.LinksMeasured != 0 || rep.CoreMeasured != 0 || rep.CoreRules == 0 {
		t.Errorf("%+v", rep)
	}
	if rows := s.Triage([]*Report{rep}); rows[0].Group != GroupMeasureFirst {
		t.Errorf("%+v", rows)
	}
	if rows := s.Triage(nil); len(rows) != 0 {
		t.Error("a triage of nobody")
	}
}

func TestSentences(t *testing.T) {
	s := defaultScorer(t)
	rep := s.Score(recordOf(throwerOf(screen.LeftHand, "2000-01-01", screen.Male),
		append(shoulder(screen.Left, screen.Right, 28, 63, 95, 90), reading("hip_internal_rotation", screen.Right, 25, 25), reading("hip_internal_rotation", screen.Left, 40, 40),
			reading("stance_time_eyes_closed", screen.Left, 6, 5, 7))...), Options{})
	for rule, want := range map[string]string{
		"internal_rotation_loss":           "Throwing side: shoulder internal rotation 35° less than the other (give or take 6°). Threshold 20°. Very likely a true deficit: over 99 in 100.",
		"lead_hip_internal_rotation_floor": "lead right: 25°",
		"stance_time_short":                "Looked at below 10 s.",
		"hip_internal_rotation_difference": "The right side: hip internal rotation 15° less than the other",
	} {
		if got := s.Sentence(findingOf(t, rep, rule)); !strings.Contains(got, want) {
			t.Errorf("%s: %q lacks %q", rule, got, want)
		}
	}
	for i := range rep.Findings {
		if strings.Contains(s.Sentence(&rep.Findings[i]), "%!") || strings.Contains(strings.ToLower(s.Sentence(&rep.Findings[i])), "risk") {
			t.Errorf("%q", s.Sentence(&rep.Findings[i]))
		}
	}
}

// A loss of elbow extension is a matter for a clinician, whatever the rest of the screen says.
func TestElbowExtensionIsReferred(t *testing.T) {
	rep := defaultScorer(t).Score(recordOf(throwerOf(screen.RightHand, "2013-01-01", screen.Male),
		reading("elbow_extension", screen.Right, -18, -18), reading("elbow_extension", screen.Left, 2, 2)), Options{})
	if f := findingOf(t, rep, "elbow_extension_loss"); f.Verdict != Deficit || !strings.Contains(f.Advice, "licensed clinician") {
		t.Errorf("%s: %q", f.Verdict, f.Advice)
	}
}

func TestPairsAndIndices(t *testing.T) {
	s := defaultScorer(t)
	rec := recordOf(throwerOf(screen.RightHand, "2000-01-01", screen.Male), reading("shoulder_internal_rotation_strength", screen.Right, 180),
		reading("shoulder_internal_rotation_strength", screen.Left, 160), reading("shoulder_external_rotation_strength", screen.Right, 135),
		reading("shoulder_internal_rotation", screen.Right, 50), reading("shoulder_internal_rotation", screen.Left, 60))
	for _, p := range s.Pairs(rec, Options{}) {
		switch p.Measure {
		case "shoulder_strength_ratio":
			near(t, "ratio", p.Right.Value, 0.75, 1e-9)
			if p.Left != nil {
				t.Error("a ratio from nothing")
			}
		case "shoulder_internal_rotation":
			near(t, "difference", p.Difference.Value, 10, 1e-9)
		}
	}
	ix := s.Indices(rec, Options{})
	if len(ix) != 3 || ix[0].Measure != "shoulder_internal_rotation_strength" {
		t.Fatalf("%+v", ix)
	}
	near(t, "limb symmetry index, throwing over other", ix[0].Value, 112.5, 1e-9)
	ratio := findingOf(t, s.Score(rec, Options{}), "external_rotation_strength_ratio")
	near(t, "strength ratio", ratio.Difference, 0.75, 1e-9)
}
