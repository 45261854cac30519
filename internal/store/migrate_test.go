package store

import (
	"errors"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"evenhand/internal/screen"
)

// steps are the embedded migrations with others behind them.
func steps(t *testing.T, more map[string]string) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	names, err := fs.Glob(migrations(), "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		b, err := fs.ReadFile(migrations(), name)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = &fstest.MapFile{Data: b}
	}
	for name, text := range more {
		out[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return out
}

// TestFailedMigration runs two steps, of which the second fails in its middle: nothing of either is
// left, and this program goes on with the file.
func TestFailedMigration(t *testing.T) {
	good := "-- +goose Up\nCREATE TABLE first (x INTEGER);\nALTER TABLE teams ADD COLUMN colour TEXT NOT NULL DEFAULT '';\n"
	for name, bad := range map[string]string{
		"a wrong statement": "-- +goose Up\nCREATE TABLE second (x INTEGER);\nDROP TABLE symptoms;\nINSERT INTO nowhere VALUES (1);\n",
		"a lost reference":  "-- +goose Up\nDELETE FROM athletes;\n",
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "store.db")
			s, err := Open(t.Context(), path, Options{})
			if err != nil {
				t.Fatal(err)
			}
			fill(t, s)
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			err = migrate(t.Context(), path, steps(t, map[string]string{"90001_good.sql": good, "90002_bad.sql": bad}))
			if err == nil {
				t.Fatal("the broken migration went through")
			}
			t.Log(err)
			s = openAt(t, path)
			if rec := record(t, s, "S"); rec.Athlete.ID != "A" {
				t.Errorf("the record is %+v", rec)
			}
			write(t, s, func(tx *Tx) error { _, err := tx.PutReadings("S", readings("S", 2), nil); return err })
			var n int
			err = s.read.sql.QueryRowContext(t.Context(), "SELECT count(*) FROM sqlite_schema WHERE name IN ('first', 'second')").Scan(&n)
			if err != nil || n != 0 {
				t.Errorf("%d tables of the failed migration are left (%v)", n, err)
			}
		})
	}
}

// TestNewerFile is a file that a later version migrated.
func TestNewerFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	if err := migrate(t.Context(), path, steps(t, map[string]string{"90001_later.sql": "-- +goose Up\nCREATE TABLE later (x INTEGER);\n"})); err != nil {
		t.Fatal(err)
	}
	before := contents(t, path)
	s, err := Open(t.Context(), path, Options{})
	if contents(t, path) != before {
		t.Error("the file was changed")
	}
	if !errors.Is(err, ErrNewer) {
		t.Fatalf("Open returned %v, %v", s, err)
	}
	if !strings.Contains(err.Error(), "90001") {
		t.Errorf("the error does not say which step the file is at: %v", err)
	}
}

// TestMigrateAgain migrates twice: the second time there is nothing to do.
func TestMigrateAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	for range 2 {
		if err := migrate(t.Context(), path, migrations()); err != nil {
			t.Fatal(err)
		}
	}
	fill(t, openAt(t, path))
}

func TestBadStepName(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	if err := migrate(t.Context(), path, steps(t, map[string]string{"later.sql": "-- +goose Up\n"})); err == nil {
		t.Error("a step without a number was taken")
	}
}

// first is a file as the first version made it, with a record and each kind of entry in it. The rows
// are written by statements of that version, since this program's rows have more columns.
func first(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "store.db")
	all := steps(t, nil)
	if err := migrate(t.Context(), path, fstest.MapFS{"00001_schema.sql": all[firstStep(t, all)]}); err != nil {
		t.Fatal(err)
	}
	change(t, path, `
INSERT INTO teams VALUES ('T', 'Team T', 'handball', 3, 5);
INSERT INTO athletes VALUES ('A', 'Athlete A', 'athlete a', '2012-03-04', 'female', 'handball', '', 'youth', 0, 0, '', 1, 5);
INSERT INTO memberships VALUES ('M', 'T', NULL, 'A', 'Athlete A', '', '');
INSERT INTO screens VALUES ('S', 'A', 'T', '2025-02-10', 'preseason', 'E1', 'p 1', 1, 'note', 7, 5);
INSERT INTO readings VALUES ('S', 1, 'R1', 'm', 'left', '90 91.5', 'E1', 'i', 'supine', 'D1', 5, 0, 6, 'U1', NULL, 'R2', '');
INSERT INTO readings VALUES ('S', 2, 'R2', 'm', 'left', '88', 'E1', 'i', 'supine', 'D1', 5, 0.5, 7, 'U1', 'R1', NULL, 'misread');
INSERT INTO not_done VALUES ('S', 1, 'N1', 'm', 'right', 'pain', 6);
INSERT INTO checklist_answers VALUES ('S', 1, 'C1', 'i', 'met', 'E1', 6);
INSERT INTO symptoms VALUES ('S', 1, 'Y1', 'pain', 'left', 'n', 6, 'typo');
INSERT INTO reading_digits VALUES ('T', 1, 2);`)
	return path
}

func firstStep(t *testing.T, all fstest.MapFS) string {
	t.Helper()
	for name := range all {
		if strings.HasPrefix(name, "00001_") {
			return name
		}
	}
	t.Fatal("there is no first step")
	return ""
}

// TestMigrateFirst opens a file of the first version: what is in it reads as it did, and goes on.
func TestMigrateFirst(t *testing.T) {
	s := openAt(t, first(t))
	checkIntegrity(t, s)
	rec := record(t, s, "S")
	r1 := screen.Reading{ID: "R1", Screen: "S", Measure: "m", Side: screen.Left, Trials: []float64{90, 91.5}, Examiner: "E1",
		Instrument: "i", Position: "supine", Device: "D1", Taken: instant(5), Entered: instant(6), EnteredBy: "U1", Superseded: "R2"}
	r2 := r1
	r2.ID, r2.Trials, r2.Step, r2.Entered, r2.Superseded, r2.Supersedes, r2.Why = "R2", []float64{88}, 0.5, instant(7), "", "R1", "misread"
	equal(t, "readings", rec.Readings, []screen.Reading{r1, r2})
	equal(t, "not done", rec.NotDone, []screen.NotDone{{ID: "N1", Screen: "S", Measure: "m", Side: screen.Right, Reason: screen.ReasonPain, Entered: instant(6)}})
	equal(t, "checklist", rec.Checklist, []screen.ChecklistAnswer{{ID: "C1", Screen: "S", Item: "i", Answer: screen.Met, Examiner: "E1", Entered: instant(6)}})
	equal(t, "symptoms", rec.Symptoms, []screen.Symptom{{ID: "Y1", Screen: "S", Symptom: "pain", Side: screen.Left, Note: "n", Entered: instant(6), Withdrawn: "typo"}})
	if rec.Screen.Revision != 7 || rec.Athlete.Name != "Athlete A" {
		t.Errorf("the record is %+v", rec)
	}
	write(t, s, func(tx *Tx) error {
		if n, err := tx.PutReadings("S", []screen.Reading{r1, r2}, onFives); n != 0 {
			t.Errorf("%d readings are new (%v)", n, err)
		}
		return firstOf(
			second(tx.WithdrawReading("R2", "typo")), second(tx.WithdrawNotDone("N1", "typo")), second(tx.WithdrawAnswer("C1", "typo")),
			second(tx.PutDay(dayOf("D", "T", "2026-02-10"), 0)),
			second(tx.PutParticipants("D", []screen.Participant{{Day: "D", Athlete: "A", Number: 1, Code: "1-abc", Screen: "D-S1"}})),
			second(tx.AddDayEntries("D", dayEntries(0, 1))))
	})
	if rec := record(t, s, "S"); rec.Screen.Revision != 10 || holding(rec) != 0 {
		t.Errorf("taken back, the record is %+v", rec)
	}
	checkIntegrity(t, s)
}

// TestMigrateFirstFails has a later step fail: the file of the first version is as it was.
func TestMigrateFirstFails(t *testing.T) {
	path := first(t)
	before := contents(t, path)
	if err := migrate(t.Context(), path, steps(t, map[string]string{"90001_bad.sql": "-- +goose Up\nINSERT INTO nowhere VALUES (1);\n"})); err == nil {
		t.Fatal("the broken migration went through")
	}
	if contents(t, path) != before {
		t.Error("the file was changed")
	}
	if rec := record(t, openAt(t, path), "S"); len(rec.Readings) != 2 {
		t.Errorf("the record is %+v", rec)
	}
}

// TestMigrateDown takes the last step back: what the first version had is left.
func TestMigrateDown(t *testing.T) {
	path := first(t)
	if err := migrate(t.Context(), path, migrations()); err != nil {
		t.Fatal(err)
	}
	b, err := fs.ReadFile(migrations(), "00002_days.sql")
	if err != nil {
		t.Fatal(err)
	}
	_, down, _ := strings.Cut(string(b), "-- +goose Down")
	change(t, path, down+"DELETE FROM goose_db_version WHERE version_id = 2;")
	s := openAt(t, path) // and up again
	if rec := record(t, s, "S"); len(rec.Readings) != 2 || holding(rec) != 3 {
		t.Errorf("the record is %+v", rec)
	}
	checkIntegrity(t, s)
}
