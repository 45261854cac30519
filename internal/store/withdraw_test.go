package store

import (
	"strings"
	"testing"

	"evenhand/internal/screen"
)

// TestWithdraw takes back each kind of entry: once, again for the same reason, for another one, for
// none, and one that is not there. The screen's revision goes up once.
func TestWithdraw(t *testing.T) {
	for kind, withdraw := range map[string]func(tx *Tx, id, why string) (bool, error){
		"reading": (*Tx).WithdrawReading, "not done": (*Tx).WithdrawNotDone, "answer": (*Tx).WithdrawAnswer, "symptom": (*Tx).WithdrawSymptom,
	} {
		t.Run(kind, func(t *testing.T) {
			s := squad(t)
			write(t, s, func(tx *Tx) error { return oneOfEach(tx, "X") })
			for _, c := range []struct {
				what, id, why string
				code          screen.Code
				wrote         bool
			}{
				{"first", "X", "wrong athlete", "", true},
				{"again", "X", "wrong athlete", "", false},
				{"for another reason", "X", "typo", screen.Conflict, false},
				{"for none", "X", "", screen.Invalid, false},
				{"for a reason with a separator", "X", "a" + unit, screen.Invalid, false},
				{"another", "Y", "typo", screen.NotFound, false},
			} {
				var wrote bool
				err := s.Write(t.Context(), func(tx *Tx) (err error) { wrote, err = withdraw(tx, c.id, c.why); return err })
				if wrote != c.wrote || (c.code == "") != (err == nil) || (c.code != "" && !screen.IsCode(err, c.code)) {
					t.Errorf("%s: wrote %v (%v), want %v %s", c.what, wrote, err, c.wrote, c.code)
				}
				if r := record(t, s, "S").Screen.Revision; r != 6 {
					t.Errorf("%s: the screen is at revision %d, want 6", c.what, r)
				}
			}
			// Sent again, as by a device that missed the answer: it stays withdrawn.
			write(t, s, func(tx *Tx) error { return oneOfEach(tx, "X") })
			if n := holding(record(t, s, "S")); n != 3 {
				t.Errorf("%d entries stand, want 3", n)
			}
			checkIntegrity(t, s)
		})
	}
}

// oneOfEach enters one entry of each kind at screen S, all with the same id.
func oneOfEach(tx *Tx, id string) error {
	r := readings("S", 1)
	r[0].ID = id
	return firstOf(
		second(tx.PutReadings("S", r, onFives)),
		second(tx.PutNotDone("S", []screen.NotDone{{ID: id, Screen: "S", Measure: "m", Side: screen.Left, Reason: screen.ReasonPain}})),
		second(tx.PutChecklist("S", []screen.ChecklistAnswer{{ID: id, Screen: "S", Item: "i", Answer: screen.Met}})),
		second(tx.PutSymptoms("S", []screen.Symptom{{ID: id, Screen: "S", Symptom: "pain"}})))
}

// holding is how many entries of a record hold.
func holding(rec *screen.Record) int {
	n := len(rec.Current()) + len(rec.NotDone) + len(rec.Checklist)
	for _, y := range rec.Symptoms {
		if y.Withdrawn == "" {
			n++
		}
	}
	return n
}

// TestWithdrawnReading stays in the record and among those counted, and is not corrected any more.
func TestWithdrawnReading(t *testing.T) {
	s := squad(t)
	put(t, s, readings("S", 3))
	record(t, s, "S") // into the cache: the bump has it read again
	write(t, s, func(tx *Tx) error { return second(tx.WithdrawReading("S-r001", "wrong athlete")) })
	rec := record(t, s, "S")
	if len(rec.Readings) != 3 || len(rec.Current()) != 2 || rec.Readings[1].Withdrawn != "wrong athlete" {
		t.Errorf("readings %+v", rec.Readings)
	}
	read(t, s, func(tx *Tx) error {
		if _, total, err := tx.Heaping("T"); err != nil || total != 3 {
			t.Errorf("%d readings counted (%v), want 3", total, err)
		}
		return nil
	})
	fix := readings("S", 1)[0]
	fix.ID, fix.Why = "fix", "misread"
	text := writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.CorrectReading("S-r001", fix, nil)) })
	if !strings.Contains(text, "the reading was taken back") {
		t.Errorf("the problem says %q", text)
	}
	// The other way round: what was corrected is not taken back, its correction may be.
	write(t, s, func(tx *Tx) error { return second(tx.CorrectReading("S-r000", fix, nil)) })
	text = writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.WithdrawReading("S-r000", "typo")) })
	if !strings.Contains(text, "corrected already") {
		t.Errorf("the problem says %q", text)
	}
	write(t, s, func(tx *Tx) error { return second(tx.WithdrawReading("fix", "typo")) })
	if rec := record(t, s, "S"); len(rec.Current()) != 1 || rec.Current()[0].ID != "S-r002" {
		t.Errorf("what stands is %+v", rec.Current())
	}
}

// TestEarlierCountsAgain takes back the later of two entries on the same thing, then the earlier one.
func TestEarlierCountsAgain(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error {
		var notDone []screen.NotDone
		var answers []screen.ChecklistAnswer
		for i, id := range []string{"1", "2", "3"} {
			notDone = append(notDone, screen.NotDone{ID: id, Screen: "S", Measure: "m", Side: screen.Left, Reason: screen.Reasons()[i]})
			answers = append(answers, screen.ChecklistAnswer{ID: id, Screen: "S", Item: "i", Answer: screen.Met, Examiner: id})
		}
		notDone[2].Side, answers[2].Item = screen.Right, "other" // about something else
		return firstOf(second(tx.PutNotDone("S", notDone)), second(tx.PutChecklist("S", answers)))
	})
	check := func(want string) {
		t.Helper()
		rec := record(t, s, "S")
		var gotN, gotC string
		for _, n := range rec.NotDone {
			gotN += n.ID
		}
		for _, a := range rec.Checklist {
			gotC += a.ID
		}
		if gotN != want || gotC != want {
			t.Errorf("not done %s, checklist %s, want %s", gotN, gotC, want)
		}
	}
	take := func(id string) {
		t.Helper()
		write(t, s, func(tx *Tx) error {
			return firstOf(second(tx.WithdrawNotDone(id, "typo")), second(tx.WithdrawAnswer(id, "typo")))
		})
	}
	check("23")
	take("2")
	check("13")
	take("1")
	check("3")
}

// TestBaselineWithdrawn: of what is taken back only symptoms decide about a baseline, as before.
func TestBaselineWithdrawn(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error { return oneOfEach(tx, "X") })
	baseline := func() (found bool) {
		read(t, s, func(tx *Tx) (err error) { _, found, err = tx.Baseline("A", "2026-03-01"); return err })
		return found
	}
	for i, c := range []struct {
		withdraw func(tx *Tx, id, why string) (bool, error)
		want     bool
	}{{(*Tx).WithdrawReading, false}, {(*Tx).WithdrawNotDone, false}, {(*Tx).WithdrawAnswer, false}, {(*Tx).WithdrawSymptom, true}} {
		write(t, s, func(tx *Tx) error { return second(c.withdraw(tx, "X", "typo")) })
		if got := baseline(); got != c.want {
			t.Errorf("after %d were taken back there is a baseline: %v, want %v", i+1, got, c.want)
		}
	}
}
