package clinic

import (
	"context"
	"encoding/json"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// rotationSE is the error of the side difference of internal rotation at an athlete's screen.
func rotationSE(t testing.TB, c *Clinic) (float64, Assessment) {
	t.Helper()
	a := must[Assessment](t)(c.Score(context.Background(), boss, "b002026-02-09"))
	for i := range a.Report.Findings {
		if f := &a.Report.Findings[i]; f.Measure == irID && f.RuleKind == screen.SideDifference {
			return f.SE, a
		}
	}
	t.Fatal("no finding on internal rotation")
	return 0, a
}

func TestErrorsAreKeptAndSwitched(t *testing.T) {
	c, ctx := squadTwice(t, 12, 12, "2026-02-09"), context.Background()
	before, a := rotationSE(t, c)
	if a.Errors.Study != "" {
		t.Fatalf("errors in use from the start: %+v", a.Errors)
	}
	kept := must[screen.KeptStudy](t)(c.KeepAndUse(ctx, boss, "t1", StudyToKeep{ID: "k1", Name: " Preseason ", From: "2026-02-09"}, " twelve read again "))
	if kept.Name != "Preseason" || kept.From != "2026-02-09" || kept.To != kept.From || kept.Hash != c.Protocol().Hash || kept.By != boss.ID {
		t.Errorf("%+v", kept)
	}
	after, a := rotationSE(t, c)
	if after < 1.2*before {
		t.Errorf("error %v, before %v: the study's errors are not in use", after, before)
	}
	if a.Errors.Study != "k1" || a.Errors.By != boss.Name || a.Errors.Why != "twelve read again" || a.Errors.At.IsZero() {
		t.Errorf("%+v", a.Errors)
	}
	in := must[ErrorsInUse](t)(c.ErrorsInUse(ctx, boss, "t1"))
	if !in.Own() || in.Now.Name != "Preseason" || in.Stale != "" || len(in.Switches) != 1 || len(in.Studies) != 1 || in.OldSquad {
		t.Errorf("%+v", in)
	}
	// The same again, as a form that is sent twice, is nothing new.
	must[screen.KeptStudy](t)(c.KeepAndUse(ctx, boss, "t1", StudyToKeep{ID: "k1", Name: "Preseason", From: "2026-02-09"}, "again"))
	must[screen.ErrorSwitch](t)(c.SwitchErrors(ctx, boss, "t1", "k1", "once more"))
	if in := must[ErrorsInUse](t)(c.ErrorsInUse(ctx, boss, "t1")); len(in.Switches) != 1 || len(in.Studies) != 1 {
		t.Errorf("%+v", in)
	}
	must[screen.ErrorSwitch](t)(c.SwitchErrors(ctx, boss, "t1", "", "to compare"))
	if back, a := rotationSE(t, c); back != before || a.Errors.Study != "" {
		t.Errorf("error %v after going back, before %v; %+v", back, before, a.Errors)
	}
	in = must[ErrorsInUse](t)(c.ErrorsInUse(ctx, boss, "t1"))
	if in.Own() || len(in.Switches) != 2 || in.Now.Why != "to compare" || in.Switches[1].Name != "Preseason" {
		t.Errorf("%+v", in)
	}
	if other := must[ErrorsInUse](t)(c.ErrorsInUse(ctx, boss, "t2")); len(other.Switches)+len(other.Studies) != 0 {
		t.Errorf("another team: %+v", other)
	}
}

func TestSwitchesThatAreRefused(t *testing.T) {
	c, ctx := squadTwice(t, 12, 5, "2026-02-09"), context.Background()
	must[screen.KeptStudy](t)(c.KeepStudy(ctx, boss, "t1", StudyToKeep{ID: "k1", Name: "Good"}))
	must[screen.KeptStudy](t)(c.KeepStudy(ctx, boss, "t2", StudyToKeep{ID: "k2", Name: "One athlete"}))
	old := must[KeptStudy](t)(c.StudyKept(ctx, boss, "k1")).KeptStudy
	old.ID, old.Hash, old.Protocol = "k3", "0000", "evenhand-default 0.1"
	other := old
	other.ID, other.Protocol = "k4", c.Protocol().NameAndVersion()
	err := c.gate.Store().Write(ctx, func(tx *store.Tx) error {
		_, err := tx.PutStudy(old)
		if err == nil {
			_, err = tx.PutStudy(other)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		team, study string
		code        screen.Code
		says        string
	}{
		{"t1", "none", screen.NotFound, "no such retest study"},
		{"none", "k1", screen.NotFound, "no such team"},
		{"t2", "k1", screen.NotFound, "this team has no such"},
		{"t1", "k3", screen.Invalid, "made by the protocol evenhand-default 0.1; make the study anew"},
		{"t1", "k4", screen.Invalid, "another content of the protocol"},
		{"t2", "k2", screen.Invalid, "gives no measure an error of its own"},
	} {
		_, err := c.SwitchErrors(ctx, boss, x.team, x.study, "why not")
		if !screen.IsCode(err, x.code) || !strings.Contains(err.Error(), x.says) {
			t.Errorf("%s of %s: %v", x.study, x.team, err)
		}
		if _, err := c.EffectOfSwitch(ctx, boss, x.team, x.study); !screen.IsCode(err, x.code) {
			t.Errorf("effect of %s of %s: %v", x.study, x.team, err)
		}
	}
	var f screen.Faults
	if _, err := c.SwitchErrors(ctx, boss, "t1", "k1", " "); !errors.As(err, &f) || f[0].Where != "why" {
		t.Errorf("no reason: %v", err)
	}
	// Both or neither: a study that cannot be used is not kept on the way.
	if _, err := c.KeepAndUse(ctx, boss, "t2", StudyToKeep{ID: "k5", Name: "Half"}, "why"); !screen.IsCode(err, screen.Invalid) {
		t.Errorf("%v", err)
	}
	if _, err := c.StudyKept(ctx, boss, "k5"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("half of it was done: %v", err)
	}
	if _, err := c.KeepStudy(ctx, boss, "t1", StudyToKeep{Name: "n", From: "2026-01-01"}); !screen.IsCode(err, screen.Invalid) {
		t.Errorf("a study of nobody: %v", err)
	}
	if _, err := c.KeepStudy(ctx, boss, "t1", StudyToKeep{ID: "k1", Name: "Another name"}); !screen.IsCode(err, screen.Conflict) {
		t.Errorf("an id twice: %v", err)
	}
}

// A study that is in use when the protocol changes is named as one that no longer fits, and scores go
// back to the published errors and say so.
func TestStudyInUseGoesStale(t *testing.T) {
	c, ctx := squadTwice(t, 12, 5, "2026-02-09"), context.Background()
	must[screen.KeptStudy](t)(c.KeepAndUse(ctx, boss, "t1", StudyToKeep{ID: "k1", Name: "Good"}, "why"))
	changed := *c.Protocol()
	changed.Hash = "another"
	c.scorer, c.kept = score.New(&changed), keptThings{}
	if in := must[ErrorsInUse](t)(c.ErrorsInUse(ctx, boss, "t1")); !strings.Contains(in.Stale, "another content") {
		t.Errorf("%+v", in)
	}
	screens, _, err := c.Screens(ctx, boss, "t1", "", Page{Limit: 1})
	if err != nil || len(screens) == 0 {
		t.Fatal(err)
	}
	for range 2 { // the second from what is kept in memory
		a := must[Assessment](t)(c.Score(ctx, boss, screens[0].ID))
		want := c.scorer.Score(a.Record, score.Options{})
		if a.Errors.Study != "" || !slices.Contains(a.Report.Notes, errorsUnfit) || !reflect.DeepEqual(a.Report.Findings, want.Findings) {
			t.Errorf("errors %+v, notes %q", a.Errors, a.Report.Notes)
		}
	}
}

// What is announced is what then happens.
func TestSwitchViewIsWhatHappens(t *testing.T) {
	c, ctx := squadTwice(t, 12, 12, "2026-02-09"), context.Background()
	kept := must[screen.KeptStudy](t)(c.KeepStudy(ctx, boss, "t1", StudyToKeep{Name: "Preseason"}))
	e := must[SwitchEffect](t)(c.EffectOfSwitch(ctx, boss, "t1", kept.ID))
	before := verdicts(t, c)
	must[screen.ErrorSwitch](t)(c.SwitchErrors(ctx, boss, "t1", kept.ID, "why"))
	if after := verdicts(t, c); e.Before != before || e.After != after || e.Changed == 0 || e.Screens != 13 || e.Measures == 0 {
		t.Errorf("announced %+v; it was %+v and is %+v", e, before, after)
	}
	sum := 0
	for i, x := range e.Changes {
		sum += x.N
		if x.From == x.To || x.Name == "" || i > 0 && c.Protocol().RuleIndex(e.Changes[i-1].Rule) > c.Protocol().RuleIndex(x.Rule) {
			t.Errorf("change %+v", x)
		}
	}
	if sum != e.Changed {
		t.Errorf("%d changes by rule, %d in all", sum, e.Changed)
	}
	back := must[SwitchEffect](t)(c.SwitchView(ctx, boss, "t1", nil))
	if back.Before != e.After || back.After != e.Before || back.Changed != e.Changed || back.Measures != 0 {
		t.Errorf("back: %+v", back)
	}
	if _, err := c.SwitchView(ctx, boss, "none", nil); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("%v", err)
	}
}

func verdicts(t testing.TB, c *Clinic) (out Tally) {
	t.Helper()
	squad := must[Squad](t)(c.Triage(context.Background(), boss, "t1"))
	for _, r := range squad.Rows {
		for i := range r.Report.Findings {
			out.add(r.Report.Findings[i].Verdict)
		}
	}
	return out
}

// Switching to other errors says that what is usual in the squad was worked out with those before.
func TestSwitchOutdatesTheSquad(t *testing.T) {
	c, ctx := squadTwice(t, 12, 5, "2026-02-09"), context.Background()
	prior := screen.KeptPrior{ID: "p1", Team: "t1", On: "2026-02-09", Made: c.now().Add(-1), Body: []byte("{}")}
	err := c.gate.Store().Write(ctx, func(tx *store.Tx) error {
		_, err := tx.PutKeptPrior(prior)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	must[screen.KeptStudy](t)(c.KeepAndUse(ctx, boss, "t1", StudyToKeep{Name: "Preseason"}, "why"))
	if in := must[ErrorsInUse](t)(c.ErrorsInUse(ctx, boss, "t1")); !in.OldSquad {
		t.Errorf("%+v", in)
	}
}

func TestStudiedMeasure(t *testing.T) {
	c, ctx := squadTwice(t, 4, 3, "2026-02-09"), context.Background()
	must[screen.KeptStudy](t)(c.KeepStudy(ctx, boss, "t1", StudyToKeep{ID: "k1", Name: "Kept"}))
	own := must[*study.Measure](t)(c.StudiedMeasure(ctx, boss, StudyRef{Team: "t1"}, irID))
	kept := must[*study.Measure](t)(c.StudiedMeasure(ctx, boss, StudyRef{Team: "t1", Kept: "k1"}, irID))
	a, err := json.Marshal(own)
	b, err2 := json.Marshal(kept)
	if err != nil || err2 != nil || string(a) != string(b) {
		t.Errorf("%s\n%s", a, b)
	}
	for name, x := range map[string]struct {
		ref     StudyRef
		measure string
	}{"measure": {StudyRef{Team: "t1"}, "grip_strength"}, "study": {StudyRef{Team: "t1", Kept: "k9"}, irID},
		"team of the study": {StudyRef{Team: "t2", Kept: "k1"}, irID}, "team": {StudyRef{Team: "none"}, irID}} {
		if _, err := c.StudiedMeasure(ctx, boss, x.ref, x.measure); !screen.IsCode(err, screen.NotFound) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
