package clinic

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// measured takes internal rotation on both sides of an athlete of the rig: the throwing side has less by
// so many degrees.
func (r *dayRig) measured(athlete string, less float64) {
	r.t.Helper()
	first, second := screen.Right, screen.Left
	if athlete == "a01" {
		first, second = second, first
	}
	r.added("SHOULDER", r.reading(athlete, irID, first, 50, 50), r.reading(athlete, irID, second, 50+less, 50+less))
}

// later moves the clock on, so that what is kept next is newer.
func (r *dayRig) later(by time.Duration) {
	at := r.now().Add(by)
	r.now = func() time.Time { return at }
}

func (r *dayRig) closing(closed bool) {
	r.t.Helper()
	r.later(time.Hour)
	must[screen.Day](r.t)(r.CloseDay(context.Background(), boss, "d1", closed, must[DayView](r.t)(r.Day(context.Background(), boss, "d1")).Day.Revision))
}

func (r *dayRig) squads() []SquadPriorView {
	r.t.Helper()
	return must[[]SquadPriorView](r.t)(r.SquadPriors(context.Background(), boss, "t1"))
}

func (r *dayRig) ofDay(athlete string) Assessment {
	r.t.Helper()
	for _, a := range must[DayView](r.t)(r.Day(context.Background(), boss, "d1")).Athletes {
		if a.Athlete == athlete {
			return must[Assessment](r.t)(r.Score(context.Background(), boss, a.Screen))
		}
	}
	r.t.Fatalf("%s is not on the list", athlete)
	return Assessment{}
}

// What is usual is worked out when the day is closed, from its own records, and once more when it is
// closed again; until then the protocol's prior holds.
func TestClosingADayKeepsWhatIsUsual(t *testing.T) {
	r := newDay(t, 8)
	for i := range 6 {
		r.measured(fmt.Sprintf("a%02d", i+1), 14+float64(i))
	}
	if f := r.ofDay("a02").Report.Findings[0]; f.Prior != "protocol" {
		t.Errorf("during the day the prior is that of the %s", f.Prior)
	}
	r.closing(true)
	got := r.squads()
	if len(got) != 1 || got[0].On != "2026-02-10" || !got[0].Current || got[0].By != boss.ID || got[0].Prior.Athletes != 6 {
		t.Fatalf("%+v", got)
	}
	g := got[0].Prior.Group(irID, 1)
	if g == nil || !g.Used || g.N != 6 || g.Mean < 13 || g.Mean > 17 {
		t.Errorf("%+v", g)
	}
	rep := r.ofDay("a02").Report
	if f := rep.Findings[0]; f.Prior != "squad" || rep.SquadOn != "2026-02-10" || f.PriorMean != g.NewMean {
		t.Errorf("after closing: %+v", f)
	}
	// One who comes late is scored by the figures as they were; closing again counts her in.
	r.measured("a07", 16)
	if f := r.ofDay("a07").Report.Findings[0]; f.Prior != "squad" || f.PriorMean != g.NewMean {
		t.Errorf("late comer: %+v", f)
	}
	r.closing(false)
	if n := len(r.squads()); n != 1 {
		t.Errorf("opening the day leaves %d", n)
	}
	r.closing(true)
	again := r.squads()
	if len(again) != 1 || again[0].Prior.Athletes != 7 || again[0].ID == got[0].ID {
		t.Errorf("closed again: %+v", again)
	}
	if f := r.ofDay("a02").Report.Findings[0]; f.PriorMean != again[0].Prior.Group(irID, 1).NewMean {
		t.Error("scores do not follow the newest figures of the day")
	}
	members := must[[]SquadMember](t)(r.SquadMembers(context.Background(), boss, "t1", "2026-02-10", irID))
	if len(members) != 7 || members[0].Name != "Athlete 01" || members[0].Prior != "squad" || members[0].Plain.Value < 13.9 || members[0].Plain.Value > 14.1 {
		t.Errorf("%+v", members)
	}
	if _, err := r.SquadMembers(context.Background(), boss, "t1", "2026-02-09", irID); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("a day without figures: %v", err)
	}
}

// A day of which nothing was entered keeps nothing.
func TestClosingAnEmptyDay(t *testing.T) {
	r := newDay(t, 3)
	r.closing(true)
	if n := len(r.squads()); n != 0 {
		t.Errorf("%d kept", n)
	}
}

// Whoever is in pain, injured or just back is scored by the squad's figures and not counted in them.
func TestWhoIsNotCounted(t *testing.T) {
	r := newDay(t, 12)
	for i := range 12 {
		r.measured(fmt.Sprintf("a%02d", i+1), 14)
	}
	sign := r.entry(screen.DaySymptom, "a01", "night_pain")
	for i := range r.Protocol().Symptoms {
		if r.Protocol().Symptoms[i].Referral {
			sign.About = r.Protocol().Symptoms[i].ID
		}
	}
	r.added("CHECK", sign)
	pain := r.entry(screen.DayNotDone, "a02", erID)
	pain.Side, pain.Reason = screen.Right, screen.ReasonPain
	tired := r.entry(screen.DayNotDone, "a03", erID)
	tired.Side, tired.Reason = screen.Right, screen.ReasonNoTime
	r.added("SHOULDER", pain, tired)
	err := r.gate.Store().Write(context.Background(), func(tx *store.Tx) error {
		for i, e := range []screen.Event{
			{Athlete: "a04", On: "2026-01-10", Kind: screen.EventInjury},
			{Athlete: "a05", On: "2025-10-01", Kind: screen.EventInjury, Link: "elbow"},
			{Athlete: "a05", On: "2025-12-01", Kind: screen.EventClearance, Note: "Dr. A"}, // 71 days
			{Athlete: "a06", On: "2025-10-01", Kind: screen.EventInjury, Link: "elbow"},
			{Athlete: "a06", On: "2025-11-18", Kind: screen.EventClearance, Link: "elbow", Note: "Dr. A"}, // 84 days
			{Athlete: "a07", On: "2026-01-10", Kind: screen.EventInjury, Withdrawn: "another athlete"},
			{Athlete: "a08", On: "2026-02-11", Kind: screen.EventInjury},
			{Athlete: "a09", On: "2025-10-01", Kind: screen.EventInjury, Link: "elbow"},
			{Athlete: "a09", On: "2025-11-01", Kind: screen.EventClearance, Link: "hip", Note: "Dr. A"},
			{Athlete: "a10", On: "2026-01-10", Kind: screen.EventTraining},
			{Athlete: "a11", On: "2025-10-01", Kind: screen.EventInjury},
			{Athlete: "a11", On: "2025-10-20", Kind: screen.EventClearance, Note: "Dr. A", Withdrawn: "not given"},
		} {
			e.ID = fmt.Sprint("ev", i)
			if _, err := tx.PutEvent(e); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	r.closing(true)
	p := r.squads()[0].Prior
	out := map[string]string{}
	for _, x := range p.LeftOut {
		out[x.Athlete] = x.Why
	}
	want := map[string]string{"a01": "referral sign", "a02": "not measured because of pain: shoulder", "a04": "injured on 2026-01-10, not cleared",
		"a05": "just back from an injury: cleared on 2025-12-01", "a09": "injured on 2025-10-01, not cleared", "a11": "injured on 2025-10-01, not cleared"}
	for a, why := range want {
		if !strings.HasPrefix(out[a], why) {
			t.Errorf("%s: %q, want %q", a, out[a], why)
		}
	}
	if len(out) != len(want) || p.Athletes != 12-len(want) {
		t.Errorf("left out: %v", out)
	}
	if f := r.ofDay("a04").Report.Findings[0]; f.Prior != "squad" {
		t.Errorf("one who is not counted is scored by the prior of the %s", f.Prior)
	}
	for _, m := range must[[]SquadMember](t)(r.SquadMembers(context.Background(), boss, "t1", "2026-02-10", irID)) {
		if m.Out != out[m.Athlete] || m.Prior != "squad" {
			t.Errorf("%+v", m)
		}
	}
}

// A preseason without a screening day: exactly the preseason screens of that date count.
func TestWorkOutASquadWithoutADay(t *testing.T) {
	r := newDay(t, 7)
	ctx := context.Background()
	put := func(id, athlete string, on screen.Date, kind screen.Kind) {
		must[screen.Screen](t)(r.PutScreen(ctx, boss, screen.Screen{ID: id, Athlete: athlete, Team: "t1", On: on, Kind: kind, Examiner: "KD"}, 0))
		first, second := screen.Right, screen.Left
		if athlete == "a01" {
			first, second = second, first
		}
		must[Saved](t)(r.SaveReadings(ctx, boss, id, []Entry{
			{Reading: screen.Reading{ID: id + "1", Measure: irID, Side: first, Trials: []float64{50, 51}}},
			{Reading: screen.Reading{ID: id + "2", Measure: irID, Side: second, Trials: []float64{60, 61}}},
		}))
	}
	for i := range 6 {
		put(fmt.Sprint("s", i), fmt.Sprintf("a%02d", i+1), "2026-01-15", screen.Preseason)
	}
	put("s6", "a07", "2026-01-15", screen.InSeason)
	put("twice", "a01", "2026-01-15", screen.Preseason)
	put("near", "a07", "2026-01-16", screen.Preseason)
	dates := must[[]SquadDate](t)(r.SquadDates(ctx, boss, "t1"))
	if len(dates) != 1 || dates[0] != (SquadDate{"2026-01-15", 6}) {
		t.Errorf("%+v", dates)
	}
	got := must[SquadPriorView](t)(r.WorkOutSquad(ctx, boss, "t1", "2026-01-15"))
	if got.Prior.Athletes != 6 || got.On != "2026-01-15" || !got.Prior.Group(irID, 1).Used {
		t.Errorf("%+v", got)
	}
	// A later visit is scored by them, an earlier one and another preseason screen are not.
	put("later", "a02", "2026-02-09", screen.InSeason)
	put("before", "a02", "2026-01-14", screen.InSeason)
	for id, want := range map[string]string{"later": "squad", "before": "protocol", "near": "protocol", "s1": "squad", "s6": "squad"} {
		if f := must[Assessment](t)(r.Score(ctx, boss, id)).Report.Findings[0]; f.Prior != want {
			t.Errorf("%s is scored by the prior of the %s, want %s", id, f.Prior, want)
		}
	}
	for on, says := range map[screen.Date]string{
		"2026-02-11": "future", "soon": "not a day", "2026-01-02": "no preseason screen", "2026-02-10": "still open", "2026-02-09": "no preseason screen",
	} {
		_, err := r.WorkOutSquad(ctx, boss, "t1", on)
		var f screen.Faults
		if !errors.As(err, &f) || f[0].Where != "on" || f[0].Want == "" || !strings.Contains(f[0].Problem, says) {
			t.Errorf("%s: %v", on, err)
		}
	}
	if _, err := r.WorkOutSquad(ctx, boss, "none", "2026-01-15"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("an unknown team: %v", err)
	}
	if _, err := r.WorkOutSquad(ctx, Person{ID: "x"}, "t1", "2026-01-15"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("somebody who may not: %v", err)
	}
	r.closing(true)
	_, err := r.WorkOutSquad(ctx, boss, "t1", "2026-02-10")
	if err == nil || !strings.Contains(err.Error(), "nothing was measured") {
		t.Errorf("a closed day without entries: %v", err)
	}
}
