package store

import (
	"database/sql"
	"errors"
	"fmt"
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
	if err := migrate(t.Context(), path, stepsTo(t, 1)); err != nil {
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

// stepsTo are the embedded migrations up to the one with the number given.
func stepsTo(t *testing.T, last int) fstest.MapFS {
	t.Helper()
	out := steps(t, nil)
	for name := range out {
		if name > fmt.Sprintf("%05d_~", last) {
			delete(out, name)
		}
	}
	if len(out) != last {
		t.Fatalf("%d steps up to step %d", len(out), last)
	}
	return out
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

// atSecond is the file of the first version as the second one left it, with something in each of its
// tables.
func atSecond(t *testing.T) string {
	t.Helper()
	path := first(t)
	if err := migrate(t.Context(), path, stepsTo(t, 2)); err != nil {
		t.Fatal(err)
	}
	change(t, path, `
UPDATE readings SET withdrawn = 'typo' WHERE id = 'R2';
INSERT INTO seasons VALUES ('Z', 'T', 'Season', '2025-01-01', '2025-12-31');
INSERT INTO hands VALUES ('A', '', 'right');
INSERT INTO days VALUES ('D', 'T', '2025-02-10', 'preseason', '{"side_order":"throwing_first","every":0,"stations":[{"code":"c1","name":"One","steps":[]}]}', 9, 2, 8);
INSERT INTO stations VALUES ('c1', 'D');
INSERT INTO participants VALUES ('D', 'A', 1, '1-abc', 'S', 0, 8);
INSERT INTO day_entries VALUES ('D', 1, 'E1', 'reading', 'A', 'S', 'c1', 'm', 'left', 1, 0, 'E1', 'D1', 5, 5, 6, 0, '', '', 'abc');
INSERT INTO handouts VALUES ('H', 'D', 'A', 'S', 7, 'p 1', 'abc', 9, 'U1', x'7b7d');`)
	return path
}

// dump is every row of every table of a file, by table, but for the list of migrations.
func dump(t *testing.T, path string) map[string][]string {
	t.Helper()
	db, err := sql.Open(driverName, dsn(path, migrateDSN))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	out := map[string][]string{}
	for _, table := range column(t, db, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' AND name NOT LIKE 'goose%'") {
		columns := strings.Join(column(t, db, "SELECT 'quote(' || name || ')' FROM pragma_table_info('"+table+"')"), ", ")
		out[table] = column(t, db, "SELECT concat_ws(', ', "+columns+") FROM "+table+" ORDER BY 1")
	}
	return out
}

// column are the values of a query for one column.
func column(t *testing.T, db *sql.DB, query string) (out []string) {
	t.Helper()
	rows, err := db.QueryContext(t.Context(), query)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		out = append(out, s)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestMigrateSecond opens a file of the second version: every row of it is as it was, reads, and the
// file goes on with what the third one has.
func TestMigrateSecond(t *testing.T) {
	path := atSecond(t)
	before := dump(t, path)
	if err := migrate(t.Context(), path, migrations()); err != nil {
		t.Fatal(err)
	}
	after := dump(t, path)
	for table, rows := range before {
		if len(rows) == 0 {
			t.Errorf("nothing in %s to be kept", table)
		}
		equal(t, table, after[table], rows)
	}
	s := openAt(t, path)
	if rec := record(t, s, "S"); rec.Screen.Revision != 7 || len(rec.Readings) != 2 || rec.Readings[1].Withdrawn != "typo" {
		t.Errorf("the record is %+v", rec)
	}
	fillThird(t, s)
	read(t, s, func(tx *Tx) error {
		d, e1 := tx.Day("D")
		h, e2 := tx.Handouts("D")
		if d.Stations[0].Name != "One" || len(h) != 1 || string(h[0].Body) != "{}" {
			t.Errorf("the day is %+v, the handouts are %+v", d, h)
		}
		return firstOf(e1, e2)
	})
	checkIntegrity(t, s)
}

// fillThird puts something into each table of the third version.
func fillThird(t *testing.T, s *Store) {
	t.Helper()
	write(t, s, func(tx *Tx) error {
		return firstOf(
			second(tx.PutEvent(eventOn("V", "A", "2025-02-11"))),
			second(tx.PutKeptPrior(keptPrior("P", "2025-02-10", 0))),
			second(tx.PutStudy(studyOf("X", "T", 0))),
			second(tx.PutErrorSwitch(screen.ErrorSwitch{ID: "W", Team: "T", Study: "X", By: "U"})))
	})
}

// TestMigrateDown takes the steps back, the last one first: what each earlier version had is left to
// the last row.
func TestMigrateDown(t *testing.T) {
	path := atSecond(t)
	before := dump(t, path)
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	fillThird(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	takeBack(t, path, "00004_people.sql", 4)
	takeBack(t, path, "00003_course.sql", 3)
	equal(t, "at the second step", dump(t, path), before)
	takeBack(t, path, "00002_days.sql", 2)
	equal(t, "at the first step", len(dump(t, path)), 11)
	s = openAt(t, path) // and up again
	if rec := record(t, s, "S"); len(rec.Readings) != 2 || holding(rec) != 3 {
		t.Errorf("the record is %+v", rec)
	}
	read(t, s, func(tx *Tx) error {
		none, err := tx.Events("A")
		if len(none) != 0 {
			t.Errorf("events are left: %+v", none)
		}
		return err
	})
	checkIntegrity(t, s)
}

// takeBack runs the way down of a step.
func takeBack(t *testing.T, path, name string, number int) {
	t.Helper()
	b, err := fs.ReadFile(migrations(), name)
	if err != nil {
		t.Fatal(err)
	}
	_, down, _ := strings.Cut(string(b), "-- +goose Down")
	change(t, path, fmt.Sprintf("%s DELETE FROM goose_db_version WHERE version_id = %d;", down, number))
}
