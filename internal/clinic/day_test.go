package clinic

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"evenhand/internal/screen"
)

func TestNewDayListsTheTeam(t *testing.T) {
	r := newDay(t, 12)
	v := must[DayView](t)(r.Day(context.Background(), boss, "d1"))
	if len(v.Athletes) != 12 {
		t.Fatalf("%d athletes", len(v.Athletes))
	}
	codes := map[string]bool{}
	for i, a := range v.Athletes {
		if a.Number != i+1 || a.Twice != (a.Number%5 == 0) || a.Screen == "" || codes[a.Code] || len(strings.Split(a.Code, "-")) != 2 {
			t.Errorf("%+v", a.Participant)
		}
		codes[a.Code] = true
	}
	again := must[screen.Day](t)(r.PutDay(context.Background(), boss, r.day, nil, 0))
	if again.Revision != r.day.Revision {
		t.Errorf("the same day once more has revision %d, it had %d", again.Revision, r.day.Revision)
	}
	// A screen that is on record of the date of a day belongs to it, also if there is a later one.
	must[screen.Screen](t)(r.PutScreen(context.Background(), boss, screen.Screen{ID: "old", Athlete: "a03", Team: "t1", On: "2026-02-01", Kind: screen.Preseason}, 0))
	must[screen.Screen](t)(r.PutScreen(context.Background(), boss, screen.Screen{ID: "later", Athlete: "a03", Team: "t1", On: "2026-02-05", Kind: screen.InSeason}, 0))
	past := must[screen.Day](t)(r.PlanDay(context.Background(), boss, "t1"))
	past.On = "2026-02-01"
	must[screen.Day](t)(r.PutDay(context.Background(), boss, past, nil, 0))
	if v := must[DayView](t)(r.Day(context.Background(), boss, past.ID)); v.Athletes[2].Screen != "old" {
		t.Errorf("a03 has the screen %s", v.Athletes[2].Screen)
	}
	d := must[screen.Day](t)(r.PutDay(context.Background(), boss, r.day, []string{"a01"}, r.day.Revision))
	v = must[DayView](t)(r.Day(context.Background(), boss, d.ID))
	if !v.Athletes[0].Twice || !v.Athletes[4].Twice || v.Athletes[1].Twice {
		t.Error("a01 was chosen besides every fifth")
	}
}

func TestPlannedDayIsValid(t *testing.T) {
	r := newDay(t, 1)
	d := must[screen.Day](t)(r.PlanDay(context.Background(), boss, "t1"))
	if len(d.Stations) != 6 || len(d.Stations[0].Code) != 8 || d.Stations[0].Code == d.Stations[1].Code {
		t.Errorf("%+v", d.Stations)
	}
	_, err := r.PutDay(context.Background(), boss, d, nil, 0)
	if f, ok := err.(screen.Faults); !ok || f[0].Where != "on" { //nolint:errorlint // it is not wrapped
		t.Errorf("a second day on one date: %v", err)
	}
	d.On = "2026-02-09"
	if d = must[screen.Day](t)(r.PutDay(context.Background(), boss, d, nil, 0)); d.Revision == 0 {
		t.Error("not stored")
	}
}

func TestDayFaults(t *testing.T) {
	r := newDay(t, 1)
	step := func(m string) screen.Step { return screen.Step{Kind: screen.StepMeasure, Measure: m} }
	for name, c := range map[string]struct {
		change func(*screen.Day)
		where  string
	}{
		"unknown measure":       {func(d *screen.Day) { d.Stations[1].Steps[0].Measure = "shoulder_internal_rotaton" }, "stations[1].steps[0].measure"},
		"derived measure":       {func(d *screen.Day) { d.Stations[1].Steps[0].Measure = "shoulder_total_arc" }, "stations[1].steps[0].measure"},
		"at two stations":       {func(d *screen.Day) { d.Stations[2].Steps = append(d.Stations[2].Steps, step(irID)) }, "stations[2].steps[1]"},
		"strength before range": {func(d *screen.Day) { d.Stations[2].Steps = []screen.Step{step("grip_strength"), step("elbow_flexion")} }, "stations[2].steps[1]"},
		"too many trials":       {func(d *screen.Day) { d.Stations[1].Steps[0].Trials = 11 }, "stations[1].steps[0].trials"},
		"no stations":           {func(d *screen.Day) { d.Stations = nil }, "stations"},
		"every one":             {func(d *screen.Day) { d.Every = 1 }, "every"},
	} {
		d := r.day
		d.ID, d.Stations = "d2", slices.Clone(d.Stations)
		for i := range d.Stations {
			d.Stations[i].Steps, d.Stations[i].Code = slices.Clone(d.Stations[i].Steps), ""
		}
		c.change(&d)
		_, err := r.PutDay(context.Background(), boss, d, nil, 0)
		f, ok := err.(screen.Faults) //nolint:errorlint // it is not wrapped
		if !ok || len(f) != 1 || f[0].Where != c.where || f[0].Want == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestEntriesTwiceAreOnce(t *testing.T) {
	r := newDay(t, 3)
	left, right := r.reading("a01", irID, screen.Left, 52, 54), r.reading("a01", irID, screen.Right, 60, 62)
	r.added("SHOULDER", left, right)
	again := r.save("SHOULDER", left, right)
	if again.Results[0].Status != EntryAlready || again.Results[1].Status != EntryAlready {
		t.Errorf("%+v", again.Results)
	}
	if got := r.athlete("SHOULDER", 1); got.Done != "xx.." || got.Hand != screen.LeftHand || got.Arm != [2]string{"throwing", "non-throwing"} || got.Leg != [2]string{"trail", "lead"} || got.First != screen.Left {
		t.Errorf("%+v", got)
	}
	other := left
	other.Trials = []float64{40, 41}
	if x := r.save("SHOULDER", other).Results[0]; x.Status != EntryRefused || x.Want == "" {
		t.Errorf("another entry with its id: %+v", x)
	}
	rec := must[*screen.Record](t)(r.Record(context.Background(), boss, must[DayView](t)(r.Day(context.Background(), boss, "d1")).Athletes[0].Screen))
	if len(rec.Current()) != 2 || rec.Readings[0].Device != "tablet-1" || rec.Screen.On != "2026-02-10" {
		t.Errorf("%+v", rec.Readings)
	}
}

// Nobody waits for an athlete who is not there, at a check-in and a checklist either.
func TestAbsentAtCheckInAndChecklist(t *testing.T) {
	r := newDay(t, 2)
	not := r.entry(screen.DayNotDone, "a01", screen.CheckInCell)
	not.Reason = screen.ReasonAbsent
	item := r.Protocol().Checklist[0].ID
	unseen := r.entry(screen.DayNotDone, "a01", item)
	unseen.Reason = screen.ReasonNoTime
	r.added("CHECK", not)
	r.added("THROW", unseen)
	b := r.board()
	if c := b.Rows[0].Cells[0]; c.NotDone != 1 || c.Missing != 0 || c.Others != "1 not done: absent" || b.Rows[0].CheckIn {
		t.Errorf("%+v", c)
	}
	if c := b.Rows[0].Cells[2]; c.NotDone != 1 || c.Others != "1 not done: no time" {
		t.Errorf("%+v", c)
	}
	// The athlete comes after all.
	ans := r.entry(screen.DayAnswer, "a01", item)
	ans.Answer = screen.Met
	r.added("THROW", ans)
	u := r.entry(screen.DayUndo, "a01", "")
	u.Undoes = not.ID
	r.added("CHECK", u)
	if a, b := r.athlete("CHECK", 1).Done, r.athlete("THROW", 1).Done; a != "." || b[0] != 'x' {
		t.Errorf("%s %s", a, b)
	}
	bad := r.entry(screen.DayNotDone, "a02", screen.CheckInCell)
	for _, why := range []screen.Reason{"asleep", screen.ReasonPain} { // pain is asked about there
		bad.Reason = why
		if x := r.save("CHECK", bad).Results[0]; x.Status != EntryRefused || x.Where != "reason" {
			t.Errorf("%+v", x)
		}
	}
}

// One faulty entry must not hold up the others, whether it is at fault by itself or against the record.
func TestRefusedEntriesDoNotHoldUpOthers(t *testing.T) {
	r := newDay(t, 3)
	taken := r.reading("a02", irID, screen.Left, 50)
	r.added("SHOULDER", taken)
	clash := r.reading("a03", irID, screen.Left, 50)
	must[Saved](t)(r.SaveReadings(context.Background(), boss, must[DayView](t)(r.Day(context.Background(), boss, "d1")).Athletes[1].Screen, []Entry{ir(clash.ID, screen.Right, 44)}))
	list := []StationEntry{
		r.reading("a01", irID, screen.Left, 52),
		r.reading("a01", irID, screen.Right, 520),   // cannot be
		r.reading("nobody", irID, screen.Right, 52), // not on the list
		clash, // the id is another reading's
		r.reading("a03", erID, screen.Left, 100),
		r.entry("dance", "a01", ""),
	}
	list[5].Examiner = " "
	out := r.save("SHOULDER", list...)
	want := []string{EntryAdded, EntryRefused, EntryRefused, EntryRefused, EntryAdded, EntryRefused}
	for i, x := range out.Results {
		if x.ID != list[i].ID || x.Status != want[i] || (x.Status == EntryRefused) != (x.Want != "" && x.Problem != "") {
			t.Errorf("%d: %+v", i, x)
		}
	}
}

func TestBatchFaults(t *testing.T) {
	r := newDay(t, 1)
	e := r.reading("a01", irID, screen.Left, 52)
	for name, b := range map[string]Batch{"empty": {Device: "x"}, "no device": {Entries: []StationEntry{e}}, "twice in it": {Device: "x", Entries: []StationEntry{e, e}},
		"too many": {Device: "x", Entries: make([]StationEntry, maxBatch+1)}} {
		if _, err := r.SaveEntries(context.Background(), boss, "SHOULDER", b); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
	if _, err := r.SaveEntries(context.Background(), boss, "NOWHERE", Batch{Device: "x", Entries: []StationEntry{e}}); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("unknown station: %v", err)
	}
}

func TestUndo(t *testing.T) {
	r := newDay(t, 2)
	read := r.reading("a01", irID, screen.Left, 52)
	not := r.entry(screen.DayNotDone, "a01", irID)
	not.Side, not.Reason = screen.Right, screen.ReasonPain
	item := r.Protocol().Checklist[0].ID
	ans := r.entry(screen.DayAnswer, "a01", item)
	ans.Answer = screen.Met
	r.added("SHOULDER", read, not)
	r.added("THROW", ans)
	if a, b := r.athlete("SHOULDER", 1).Done, r.athlete("THROW", 1).Done; a != "xn.." || b[0] != 'x' {
		t.Fatalf("%s %s", a, b)
	}
	undo := func(of StationEntry) StationEntry {
		u := r.entry(screen.DayUndo, "a01", "")
		u.Undoes = of.ID
		return u
	}
	back := undo(read)
	if x := r.save("THROW", back).Results[0]; x.Status != EntryRefused {
		t.Errorf("another station takes it back: %+v", x)
	}
	back.ID = "u1"
	r.added("SHOULDER", back, undo(not), undo(read)) // the last one once more
	r.added("THROW", undo(ans))
	if a, b := r.athlete("SHOULDER", 1).Done, r.athlete("THROW", 1).Done; a != "...." || b[0] != '.' {
		t.Errorf("%s %s", a, b)
	}
	rec := must[*screen.Record](t)(r.Record(context.Background(), boss, must[DayView](t)(r.Day(context.Background(), boss, "d1")).Athletes[0].Screen))
	if len(rec.Readings) != 1 || !strings.Contains(rec.Readings[0].Withdrawn, "KD") || len(rec.Current()) != 0 {
		t.Errorf("it stays on record, marked: %+v", rec.Readings)
	}
	// An entry and its undo may come in one batch.
	e := r.reading("a02", irID, screen.Left, 50)
	u := r.entry(screen.DayUndo, "a02", "")
	u.Undoes = e.ID
	r.added("SHOULDER", e, u)
	if got := r.athlete("SHOULDER", 2).Done; got != "...." {
		t.Error(got)
	}
}

func TestCheckInChangesTheHandFromToday(t *testing.T) {
	r := newDay(t, 2)
	e := r.entry(screen.DayCheckIn, "a02", "")
	e.Hand, e.Threw = screen.LeftHand, new(true)
	r.added("CHECK", e)
	a := must[screen.Athlete](t)(r.Athlete(context.Background(), boss, "a02"))
	if a.HandOn("2026-02-10") != screen.LeftHand || a.HandOn("2026-02-09") != screen.RightHand {
		t.Errorf("%+v", a.Hands)
	}
	b := r.board()
	if len(b.Changes) != 1 || !strings.Contains(b.Changes[0], "Athlete 02 throws with the left hand") || !b.Rows[1].CheckIn || b.Rows[0].CheckIn {
		t.Errorf("%q", b.Changes)
	}
	rec := must[*screen.Record](t)(r.Record(context.Background(), boss, b.Rows[1].Screen))
	if rec.Screen.ThrewIn48h == nil || !*rec.Screen.ThrewIn48h {
		t.Error("that the athlete threw is not on record")
	}
	u := r.entry(screen.DayUndo, "a02", "")
	u.Undoes = e.ID
	r.added("CHECK", u)
	a = must[screen.Athlete](t)(r.Athlete(context.Background(), boss, "a02"))
	if b = r.board(); a.HandOn("2026-02-10") != screen.RightHand || len(b.Changes) != 0 || b.Rows[1].CheckIn || r.athlete("CHECK", 2).Done != "." {
		t.Errorf("after the undo: %+v %q", a.Hands, b.Changes)
	}
}

func TestReferralSignHolds(t *testing.T) {
	r := newDay(t, 2)
	s := r.entry(screen.DaySymptom, "a01", "numbness_or_tingling")
	s.Side = screen.Left
	r.added("CHECK", s, r.entry(screen.DayCheckIn, "a01", ""))
	if got := r.athlete("SHOULDER", 1).Hold; !slices.Equal(got, []string{"Numbness or tingling"}) {
		t.Errorf("hold %q", got)
	}
	b := r.board()
	if len(b.Holds) != 1 || !b.Rows[0].Hold || b.Stations[1].Of != 1 || b.Complete != 0 {
		t.Errorf("%+v, %d complete", b.Holds, b.Complete)
	}
	// What another station kept from before is not lost.
	r.added("SHOULDER", r.reading("a01", irID, screen.Left, 40))
	ctx := context.Background()
	if err := r.Release(ctx, boss, "d1", "a01", ""); err == nil {
		t.Error("lifted without a reason")
	}
	if err := r.Release(ctx, boss, "d1", "a01", "seen by a clinician: pressure of the strap"); err != nil {
		t.Fatal(err)
	}
	if got := r.athlete("SHOULDER", 1); len(got.Hold) != 0 || got.Done != "x..." {
		t.Errorf("%+v", got)
	}
	// The station takes back what the board has lifted already, and another entry with it.
	u := r.entry(screen.DayUndo, "a01", "")
	u.Undoes = s.ID
	r.added("CHECK", u, r.entry(screen.DayCheckIn, "a02", ""))
	rec := must[*screen.Record](t)(r.Record(ctx, boss, b.Rows[0].Screen))
	if len(rec.Symptoms) != 1 || !strings.Contains(rec.Symptoms[0].Withdrawn, "strap") {
		t.Errorf("%+v", rec.Symptoms)
	}
}

func TestWalkOn(t *testing.T) {
	r := newDay(t, 2)
	e := r.entry(screen.DayWalkOn, "device-made-1", "")
	e.Person = &WalkOn{Name: "Late  Comer", Born: "2012-05-06", Sex: screen.Female, Hand: screen.LeftHand, Level: screen.Youth}
	r.added("SHOULDER", e, r.reading("device-made-1", irID, screen.Left, 50))
	// The same person at another station that did not know of it yet.
	r.dev = "tablet-2"
	f := r.entry(screen.DayWalkOn, "device-made-2", "")
	f.Person = &WalkOn{Name: "late comer", Born: "2012-05-06", Sex: screen.Female, Hand: screen.LeftHand, Level: screen.Youth}
	r.added("SHOULDER", f)
	r.added("SHOULDER", r.reading("device-made-2", irID, screen.Right, 60))
	v := must[DayView](t)(r.Day(context.Background(), boss, "d1"))
	if len(v.Athletes) != 3 || v.Athletes[2].Person.Name != "Late Comer" || v.Athletes[2].Number != 3 || v.Athletes[2].Added.IsZero() {
		t.Fatalf("%+v", v.Athletes)
	}
	if got := r.athlete("SHOULDER", 3); got.Done != "xx.." || got.ID != "device-made-1" || !slices.Equal(got.KnownAs, []string{"device-made-2"}) {
		t.Errorf("%+v", got)
	}
	g := r.entry(screen.DayWalkOn, "device-made-3", "")
	g.Person = &WalkOn{Name: "", Born: "2032-05-06", Sex: "x"}
	if x := r.save("SHOULDER", g).Results[0]; x.Status != EntryRefused || !strings.HasPrefix(x.Where, "person") {
		t.Errorf("%+v", x)
	}
	if p, err := r.WalkOn(context.Background(), boss, "d1", "x9", *e.Person); err != nil || p.Number != 3 {
		t.Errorf("at the board: %+v %v", p, err)
	}
}

func TestTwoHelpersOneCell(t *testing.T) {
	r := newDay(t, 2)
	r.added("SHOULDER", r.reading("a01", irID, screen.Left, 52, 54))
	r.dev, r.by = "tablet-2", "MO"
	r.added("SHOULDER", r.reading("a01", irID, screen.Left, 58, 57))
	b := r.board()
	if len(b.Conflicts) != 1 || len(b.Conflicts[0].Readings) != 2 || b.Conflicts[0].Readings[1].Trials != "58°, 57°" || b.Conflicts[0].Readings[1].Examiner != "MO" {
		t.Fatalf("%+v", b.Conflicts)
	}
	again := r.reading("a02", irID, screen.Left, 40)
	asked := r.reading("a02", irID, screen.Left, 41)
	r.by, again.Again = "KD", false
	asked.Again = true
	r.added("SHOULDER", again, asked)
	if b = r.board(); len(b.Conflicts) != 1 {
		t.Errorf("measured again on purpose is no conflict: %+v", b.Conflicts)
	}
}

func TestClosedDayTakesLateEntries(t *testing.T) {
	r := newDay(t, 1)
	d := must[screen.Day](t)(r.CloseDay(context.Background(), boss, "d1", true, must[DayView](t)(r.Day(context.Background(), boss, "d1")).Day.Revision))
	if !r.sheet("SHOULDER").Day.Closed {
		t.Error("the station does not show it")
	}
	out := r.added("SHOULDER", r.reading("a01", irID, screen.Left, 52))
	b := r.board()
	if !out.Late || len(b.Late) != 1 || b.Late[0].N != 1 || b.Late[0].Name != "Athlete 01" {
		t.Errorf("%v %+v", out.Late, b.Late)
	}
	if d = must[screen.Day](t)(r.CloseDay(context.Background(), boss, "d1", false, d.Revision)); !d.Closed.IsZero() {
		t.Error("not opened again")
	}
}

// A device whose clock is a day off: the order is the server's, and how long ago it was is known.
func TestWrongClock(t *testing.T) {
	r := newDay(t, 1)
	real := r.sent
	r.sent = real.Add(26 * time.Hour)
	e := r.reading("a01", irID, screen.Left, 52)
	e.Taken = r.sent.Add(-3 * time.Minute)
	r.added("SHOULDER", e)
	if at := r.board().Stations[1].Last; !at.Equal(real.Add(-3 * time.Minute)) {
		t.Errorf("taken at %v, it was %v", at, real.Add(-3*time.Minute))
	}
	rec := must[*screen.Record](t)(r.Record(context.Background(), boss, r.board().Rows[0].Screen))
	if !rec.Readings[0].Taken.Equal(e.Taken) || !rec.Readings[0].Entered.Equal(real) {
		t.Errorf("%+v", rec.Readings[0])
	}
}

func TestSecondMeasurement(t *testing.T) {
	r := newDay(t, 5)
	r.added("SHOULDER", r.reading("a05", irID, screen.Left, 52), r.reading("a05", irID, screen.Right, 50), r.reading("a05", erID, screen.Left, 100))
	not := r.entry(screen.DayNotDone, "a05", erID)
	not.Side, not.Reason = screen.Right, screen.ReasonNoTime
	r.added("SHOULDER", not)
	if got := r.athlete("SHOULDER", 5); got.Done != "xxxn" || got.Second != "...n" {
		t.Errorf("%q %q", got.Done, got.Second)
	}
	e := r.reading("a05", irID, screen.Left, 55)
	e.Round, e.Examiner = 2, "MO"
	r.added("SHOULDER", e)
	b := r.board()
	if got := r.athlete("SHOULDER", 5); got.Done != "xxxn" || got.Second != "x..n" || len(b.Conflicts) != 0 {
		t.Errorf("%q %q %+v", got.Done, got.Second, b.Conflicts)
	}
	if c := b.Rows[4].Cells[1]; c.Taken != 3 || c.NotDone != 1 || c.Second != 1 || c.SecondMissing != 2 || c.Others != "1 not done: no time" {
		t.Errorf("%+v", c)
	}
}

func TestDayAheadIsNotEntered(t *testing.T) {
	r := newDay(t, 1)
	d := r.day
	d.ID, d.On, d.Stations = "d2", "2026-02-11", []screen.Station{{Code: "TOMORROW", Name: "x", Steps: d.Stations[1].Steps}}
	must[screen.Day](t)(r.PutDay(context.Background(), boss, d, nil, 0))
	if x := r.save("TOMORROW", r.reading("a01", irID, screen.Left, 52)).Results[0]; x.Status != EntryRefused || !strings.Contains(x.Problem, "2026-02-11") {
		t.Errorf("%+v", x)
	}
}

// A device that was without network when its station was taken off the plan loses nothing.
func TestStationTakenOffThePlan(t *testing.T) {
	r := newDay(t, 1)
	d := r.day
	d.Stations = d.Stations[:1]
	must[screen.Day](t)(r.PutDay(context.Background(), boss, d, nil, must[DayView](t)(r.Day(context.Background(), boss, "d1")).Day.Revision))
	r.added("SHOULDER", r.reading("a01", irID, screen.Left, 52))
	if _, err := r.Station(context.Background(), boss, "SHOULDER"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("it is still shown: %v", err)
	}
	rec := must[*screen.Record](t)(r.Record(context.Background(), boss, r.board().Rows[0].Screen))
	if len(rec.Current()) != 1 {
		t.Error("the reading is lost")
	}
}
