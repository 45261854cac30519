package store

import (
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
)

func put(t *testing.T, s *Store, rs []screen.Reading) (added int) {
	t.Helper()
	write(t, s, func(tx *Tx) (err error) { added, err = tx.PutReadings("S", rs, onFives); return err })
	return added
}

func TestReadingsTwice(t *testing.T) {
	s := squad(t)
	rs := readings("S", 6)
	if n := put(t, s, rs[:4]); n != 4 {
		t.Errorf("%d new, want 4", n)
	}
	for i := range rs { // what the server sets does not make a reading another one
		rs[i].Entered, rs[i].EnteredBy, rs[i].Superseded = start.Add(time.Hour), "U2", "later"
	}
	if n := put(t, s, append(rs, rs[5])); n != 2 {
		t.Errorf("%d new, want 2", n)
	}
	if n := put(t, s, nil); n != 0 {
		t.Errorf("%d new of none", n)
	}
	rec := record(t, s, "S")
	if len(rec.Readings) != 6 || rec.Readings[0].EnteredBy != "U1" || rec.Readings[5].EnteredBy != "U2" || rec.Readings[5].Superseded != "" {
		t.Errorf("readings %+v", rec.Readings)
	}
	read(t, s, func(tx *Tx) error { // 90 to 95, of which 90 and 95; each counted once
		onFive, total, err := tx.Heaping("T")
		if onFive != 2 || total != 6 {
			t.Errorf("%d of %d end in 0 or 5, want 2 of 6", onFive, total)
		}
		return err
	})
}

// TestReadingsDiffer changes each part of a reading that its maker sets: the id is then taken.
func TestReadingsDiffer(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error { return second(tx.PutScreen(screenOn("S2", "A", "T", "2026-02-11"), 0)) })
	put(t, s, readings("S", 2))
	for name, change := range map[string]func(*screen.Reading){
		"measure":    func(r *screen.Reading) { r.Measure = "x" },
		"side":       func(r *screen.Reading) { r.Side = screen.NoSide },
		"trials":     func(r *screen.Reading) { r.Trials = []float64{1} },
		"no trials":  func(r *screen.Reading) { r.Trials = nil },
		"examiner":   func(r *screen.Reading) { r.Examiner = "" },
		"instrument": func(r *screen.Reading) { r.Instrument = "x" },
		"position":   func(r *screen.Reading) { r.Position = "x" },
		"device":     func(r *screen.Reading) { r.Device = "x" },
		"taken":      func(r *screen.Reading) { r.Taken = time.Time{} },
		"step":       func(r *screen.Reading) { r.Step = 5 },
		"why":        func(r *screen.Reading) { r.Why = "x" },
		"supersedes": func(r *screen.Reading) { r.Supersedes, r.Why = "S-r001", "x" },
	} {
		r := readings("S", 1)
		change(&r[0])
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutReadings("S", r, nil)) })
		})
	}
	other := readings("S", 1)
	other[0].Screen = "S2"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutReadings("S2", other, nil)) })
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { return second(tx.PutReadings("S", other, nil)) })
	twins := slices.Concat(readings("S", 3)[2:], readings("S", 3)[2:])
	twins[1].Trials = nil
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutReadings("S", twins, nil)) })
	odd := readings("S", 3)[2:]
	odd[0].Device = "a" + unit + "b"
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { return second(tx.PutReadings("S", odd, nil)) })
}

func TestCorrectReading(t *testing.T) {
	s := squad(t)
	put(t, s, readings("S", 3))
	fix := readings("S", 1)[0]
	fix.ID, fix.Trials, fix.Why = "fix", []float64{88}, "misread"
	correct := func(old string, r screen.Reading) (added bool) {
		t.Helper()
		write(t, s, func(tx *Tx) (err error) { added, err = tx.CorrectReading(old, r, onFives); return err })
		return added
	}
	if !correct("S-r000", fix) || correct("S-r000", fix) {
		t.Error("the correction is not new the first time, or new the second time")
	}
	rec := record(t, s, "S")
	if len(rec.Readings) != 4 || rec.Screen.Revision != 3 {
		t.Fatalf("%d readings at revision %d", len(rec.Readings), rec.Screen.Revision)
	}
	old, now := rec.Readings[0], rec.Readings[3]
	want := readings("S", 1)[0]
	if old.Superseded != "fix" || !slices.Equal(old.Trials, want.Trials) || old.Why != "" {
		t.Errorf("the corrected reading is %+v", old)
	}
	if now.Supersedes != "S-r000" || now.Why != "misread" || now.Superseded != "" || now.Screen != "S" {
		t.Errorf("the correction is %+v", now)
	}
	if n := len(rec.Current()); n != 3 {
		t.Errorf("%d readings stand, want 3", n)
	}
	// The one that was corrected may be sent again, and the correction may be corrected.
	if n := put(t, s, readings("S", 3)); n != 0 {
		t.Errorf("%d readings are new", n)
	}
	again := fix
	again.ID, again.Trials = "fix2", []float64{89}
	if !correct("fix", again) {
		t.Error("the correction of the correction is not new")
	}
	if r := record(t, s, "S").Readings; r[3].Superseded != "fix2" || r[4].Supersedes != "fix" {
		t.Errorf("readings %+v", r)
	}
}

func TestCorrectionsRefused(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error { return second(tx.PutScreen(screenOn("S2", "A", "T", "2026-02-11"), 0)) })
	put(t, s, readings("S", 3))
	fix := func(id, old, why string) screen.Reading {
		return screen.Reading{ID: id, Screen: "S", Measure: "m", Side: screen.Left, Trials: []float64{88},
			Supersedes: old, Why: why}
	}
	put(t, s, []screen.Reading{fix("fix", "S-r000", "misread")})
	elsewhere := fix("x", "S-r001", "misread")
	elsewhere.Screen = "S2"
	for _, c := range []struct {
		name string
		code screen.Code
		rs   []screen.Reading
	}{
		{"of one corrected already", screen.Conflict, []screen.Reading{fix("x", "S-r000", "misread")}},
		{"two of one", screen.Conflict, []screen.Reading{fix("x", "S-r001", "misread"), fix("y", "S-r001", "misread")}},
		{"of nothing", screen.Invalid, []screen.Reading{fix("x", "nothing", "misread")}},
		{"of itself", screen.Invalid, []screen.Reading{fix("x", "x", "misread")}},
		{"without a reason", screen.Invalid, []screen.Reading{fix("x", "S-r001", "")}},
		{"from another screen", screen.Invalid, []screen.Reading{elsewhere}},
	} {
		t.Run(c.name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.PutReadings(c.rs[0].Screen, c.rs, nil)) })
		})
	}
	// A tablet that was offline sends a reading and its correction together.
	both := slices.Concat(readings("S", 4)[3:], []screen.Reading{fix("late", "S-r003", "misread")})
	if n := put(t, s, both); n != 2 {
		t.Errorf("%d new, want 2", n)
	}
	if r := record(t, s, "S").Readings; r[4].Superseded != "late" {
		t.Errorf("the reading is %+v", r[4])
	}
}

func TestEntries(t *testing.T) {
	s := squad(t)
	answers := []screen.ChecklistAnswer{{ID: "C1", Screen: "S", Item: "i", Answer: screen.Met},
		{ID: "C2", Screen: "S", Item: "k", Answer: screen.Met}, {ID: "C3", Screen: "S", Item: "i", Answer: screen.NotMet}}
	missing := []screen.NotDone{{ID: "N1", Screen: "S", Measure: "m", Side: screen.Left, Reason: screen.ReasonNoTime},
		{ID: "N2", Screen: "S", Measure: "m", Side: screen.Right, Reason: screen.ReasonNoTime},
		{ID: "N3", Screen: "S", Measure: "m", Side: screen.Left, Reason: screen.ReasonPain}}
	symptoms := []screen.Symptom{{ID: "Y1", Screen: "S", Symptom: "night_pain"}, {ID: "Y2", Screen: "S", Symptom: "night_pain"}}
	write(t, s, func(tx *Tx) error {
		if n, err := tx.PutChecklist("S", answers); err != nil || n != 3 {
			t.Errorf("%d answers new (%v)", n, err)
		}
		if n, err := tx.PutNotDone("S", missing); err != nil || n != 3 {
			t.Errorf("%d not done new (%v)", n, err)
		}
		n, err := tx.PutSymptoms("S", symptoms)
		if n != 2 {
			t.Errorf("%d symptoms new", n)
		}
		return err
	})
	write(t, s, func(tx *Tx) error { return second(tx.WithdrawSymptom("Y1", "typo")) })
	write(t, s, func(tx *Tx) error { // again: nothing is new, and it stays withdrawn
		n, err := tx.PutSymptoms("S", symptoms)
		if n != 0 {
			t.Errorf("%d symptoms new", n)
		}
		return err
	})
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.WithdrawSymptom("Y1", "another reason")) })
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { return second(tx.WithdrawSymptom("Y2", "")) })
	changed := slices.Clone(answers)
	changed[0].Answer = screen.NotSeen
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutChecklist("S", changed)) })
	changed[0] = screen.ChecklistAnswer{ID: "C9", Screen: "S9", Item: "i"}
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { return second(tx.PutChecklist("S", changed)) })

	rec := record(t, s, "S")
	if c := rec.Checklist; len(c) != 2 || c[0].ID != "C3" || c[1].ID != "C2" {
		t.Errorf("checklist %+v, want the latest answer to each item", c)
	}
	if n := rec.NotDone; len(n) != 2 || n[0].ID != "N3" || n[1].ID != "N2" {
		t.Errorf("not done %+v, want the latest entry per measure and side", n)
	}
	if y := rec.Symptoms; len(y) != 2 || y[0].Withdrawn != "typo" || y[1].Withdrawn != "" {
		t.Errorf("symptoms %+v", y)
	}
	var kept int
	if err := s.read.sql.QueryRowContext(t.Context(), "SELECT count(*) FROM checklist_answers").Scan(&kept); err != nil || kept != 3 {
		t.Errorf("%d answers are kept (%v), want 3", kept, err)
	}
}
