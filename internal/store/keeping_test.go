package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"evenhand/internal/access"
)

// TestBackupWhileWriting copies a file that two stores write to, as two processes would. Each write bumps
// a revision and adds one reading: a copy in which the two disagree is not of one moment.
func TestBackupWhileWriting(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "store.db")
	stores := []*Store{openAt(t, path), openAt(t, path)}
	fill(t, stores[0])
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	for w, s := range stores {
		wg.Go(func() {
			for i := 0; ctx.Err() == nil; i++ {
				if err := s.Write(context.Background(), func(tx *Tx) error { return addOne(tx, fmt.Sprintf("w%d-%d", w, i)) }); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	var before int
	for i := range 3 {
		to := filepath.Join(dir, fmt.Sprintf("file:copy?%d.db", i)) // not what it would be as a URI
		if err := stores[i%2].Backup(t.Context(), to); err != nil {
			t.Fatal(err)
		}
		c, err := Check(t.Context(), to)
		if err != nil || c.Sound() != nil {
			t.Fatal(err, c.Sound())
		}
		rec := record(t, openAt(t, to), "S")
		if rec.Screen.Revision != 1+len(rec.Readings) || len(rec.Readings) < before {
			t.Errorf("copy %d has %d readings at revision %d, the one before had %d", i, len(rec.Readings), rec.Screen.Revision, before)
		}
		before = len(rec.Readings)
	}
	stop()
	wg.Wait()
}

// TestBackupLeavesNothing has copies fail: nothing stays behind, and the file is as it was.
func TestBackupLeavesNothing(t *testing.T) {
	s := squad(t)
	dir := t.TempDir()
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Backup(gone, filepath.Join(dir, "x.db")); !errors.Is(err, context.Canceled) {
		t.Errorf("a copy that nobody waits for returned %v", err)
	}
	if err := s.Backup(t.Context(), filepath.Join(dir, "missing", "x.db")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a copy into no folder returned %v", err)
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 0 {
		t.Errorf("%v stayed behind (%v)", list, err)
	}
	to := filepath.Join(dir, "x.db")
	if err := s.Backup(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(to); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the copy may be read by others: %v, %v", info.Mode(), err)
	}
	checkUntouched(t, s, "copies")
}

// TestKeepingRoundTrips is a backup and a schedule with a value in every field.
func TestKeepingRoundTrips(t *testing.T) {
	s := squad(t)
	b, p := filled[Backup](t), BackupPlan{Every: time.Hour, Keep: 3, Failed: start, Why: "no room"}
	older := Backup{ID: "older", At: b.At.Add(-time.Hour)}
	write(t, s, func(tx *Tx) error {
		if got, err := tx.BackupPlan(); err != nil || got != (BackupPlan{}) {
			t.Errorf("without a schedule there is %+v (%v)", got, err)
		}
		return errors.Join(tx.AddBackup(&b), tx.AddBackup(&older), tx.PutBackupPlan(BackupPlan{Every: 1}), tx.PutBackupPlan(p))
	})
	read(t, s, func(tx *Tx) error {
		list, err := tx.Backups()
		equal(t, "backups", list, []Backup{b, older})
		got, err2 := tx.BackupPlan()
		equal(t, "schedule", got, p)
		return errors.Join(err, err2)
	})
}

// TestEndAccess ends what lets somebody in, and leaves alone what was used or ended before.
func TestEndAccess(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s := openAt(t, path)
	change(t, path, `INSERT INTO accounts VALUES ('p', 'p', 'P', '', '', 0, 1, 0, 1);
		INSERT INTO sessions VALUES ('h1', 's1', 'p', '', 1, 1, 9), ('h2', 's2', 'p', '', 1, 1, 9);
		INSERT INTO links VALUES ('h1', 'l1', 'reset', 'p', '', '', '[]', 1, '', 9, 0, 0), ('h2', 'l2', 'reset', 'p', '', '', '[]', 1, '', 9, 5, 0),
			('h3', 'l3', 'family', '', 'A', '', '[]', 1, '', 9, 5, 0), ('h4', 'l4', 'family', '', 'A', '', '[]', 1, '', 9, 0, 5);
		INSERT INTO tokens VALUES ('h1', 't1', 'p', '', '[]', '', 1, 9, 0, 0), ('h2', 't2', 'p', '', '[]', '', 1, 9, 0, 5)`)
	write(t, s, func(tx *Tx) error {
		got, err := tx.EndAccess()
		equal(t, "ended", got, Ended{Sessions: 2, Links: 2, Tokens: 1})
		return err
	})
	var left string
	err := s.read.sql.QueryRowContext(t.Context(), `SELECT (SELECT count(*) FROM sessions) || ' ' || (SELECT group_concat(id || ':' || revoked, ' ') FROM links)
		|| ' ' || (SELECT group_concat(id || ':' || revoked, ' ') FROM tokens)`).Scan(&left)
	now := fmt.Sprint(micros(start))
	if want := "0 l1:" + now + " l2:0 l3:" + now + " l4:5 t1:" + now + " t2:5"; err != nil || left != want {
		t.Errorf("left are %s (%v), want %s", left, err, want)
	}
}

// TestScrub looks for the bytes of what was deleted in the file and its log. An older program wrote a
// part of it, whose connection did not overwrite what it deletes.
func TestScrub(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s := openAt(t, path)
	fill(t, s)
	old, err := sql.Open(driverName, dsn(path, everyDSN))
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{
		"INSERT INTO teams (id, name, sport, revision, changed) VALUES ('old', '" + strings.Repeat("quicksilver", 200) + "', 'x', 1, 1)",
		"UPDATE teams SET name = 'n' WHERE id = 'old'",
	} {
		if _, err := old.ExecContext(t.Context(), q); err != nil {
			t.Fatal(err)
		}
	}
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
	write(t, s, func(tx *Tx) error {
		a := athlete("gone")
		a.Name = "Marigold Thistledown"
		_, err := tx.PutAthlete(a, 0)
		return err
	})
	write(t, s, func(tx *Tx) error {
		for _, q := range []string{"DELETE FROM hands WHERE athlete_id = 'gone'", "DELETE FROM athletes WHERE id = 'gone'"} {
			if _, err := tx.sql.ExecContext(t.Context(), q); err != nil {
				return err
			}
		}
		return nil
	})
	if !bytes.Contains([]byte(contents(t, path, path+"-wal")), []byte("quicksilver")) {
		t.Error("the old text was gone before the scrub: this test finds nothing")
	}
	if err := s.Scrub(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"Marigold", "quicksilver"} {
		if strings.Contains(contents(t, path, path+"-wal"), text) {
			t.Errorf("%q is still in the files", text)
		}
	}
	if rec := record(t, s, "S"); rec.Athlete.ID != "A" {
		t.Errorf("what was not deleted is %+v", rec)
	}
	var on int
	if err := s.write.sql.QueryRowContext(t.Context(), "PRAGMA secure_delete").Scan(&on); err != nil || on != 1 {
		t.Errorf("the writer does not overwrite what it deletes: %d, %v", on, err)
	}
}

// TestScrubSaysThatItCouldNot has a reader hold the log.
func TestScrubSaysThatItCouldNot(t *testing.T) {
	s := squad(t)
	err := s.Read(t.Context(), func(tx *Tx) error {
		if _, err := tx.Team("T"); err != nil { // from here on it reads
			return err
		}
		if _, err := s.write.sql.ExecContext(t.Context(), "PRAGMA busy_timeout = 1"); err != nil {
			return err
		}
		return s.Scrub(t.Context())
	})
	if !errors.Is(err, ErrReading) {
		t.Errorf("a scrub that could not empty the log returned %v", err)
	}
}

// audited is a store whose audit has n entries.
func audited(t *testing.T, n int) (*Store, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "store.db")
	s := openAt(t, path)
	fill(t, s)
	write(t, s, func(tx *Tx) error {
		for i := range n {
			if err := tx.AppendAudit(access.Entry{Who: "p", Action: access.Record, Outcome: access.Done, Subject: fmt.Sprint(i)}); err != nil {
				return err
			}
		}
		return nil
	})
	return s, path
}

// entryAt is an entry of the audit.
func entryAt(t *testing.T, s *Store, seq int64) (out access.Entry) {
	t.Helper()
	read(t, s, func(tx *Tx) error {
		return tx.EachAudit(func(e *access.Entry) error {
			if e.Seq == seq {
				out = *e
			}
			return nil
		})
	})
	return out
}

// TestTampering changes the audit as somebody with the file in hand could. Each change is found, with the
// number of the entry.
func TestTampering(t *testing.T) {
	const n = 603 // more than is read at once
	s, _ := audited(t, n)
	head := entryAt(t, s, n)
	whole := filepath.Join(t.TempDir(), "whole.db")
	if err := s.Backup(t.Context(), whole); err != nil {
		t.Fatal(err)
	}
	// What the triggers refuse is done without them.
	tamper := func(q string) string {
		return "DROP TRIGGER audit_stays; DROP TRIGGER audit_is_kept; " + q + `;
			CREATE TRIGGER audit_stays BEFORE UPDATE ON audit BEGIN SELECT RAISE(ABORT, 'the audit is only added to'); END;
			CREATE TRIGGER audit_is_kept BEFORE DELETE ON audit BEGIN SELECT RAISE(ABORT, 'the audit is only added to'); END`
	}
	copyOf := func(from, to int) string {
		return fmt.Sprintf("INSERT INTO audit SELECT %d, at, who, name, action, outcome, kind, subject, team, via, request, prev, hash FROM audit WHERE seq = %d", to, from)
	}
	for _, c := range []struct {
		name, query, says string
		entries           int64
	}{
		{"untouched", "SELECT 1", "", n},
		{"a row changed", "UPDATE audit SET who = 'q' WHERE seq = 400", "entry 400 was changed after it was written", 399},
		{"the first row changed", "UPDATE audit SET at = at + 1 WHERE seq = 1", "entry 1 was changed", 0},
		{"the last row changed", fmt.Sprintf("UPDATE audit SET outcome = 'refused' WHERE seq = %d", n), fmt.Sprintf("entry %d was changed", n), n - 1},
		{"a hash changed", "UPDATE audit SET hash = prev WHERE seq = 9", "entry 9 was changed", 8},
		{"deleted in the middle", "DELETE FROM audit WHERE seq = 500", "entry 500 is missing: entry 501 follows entry 499", 499},
		{"the first ones deleted", "DELETE FROM audit WHERE seq < 3", "entry 1 is missing", 0},
		{"deleted and moved up", "DELETE FROM audit WHERE seq = 550; UPDATE audit SET seq = -(seq - 1) WHERE seq > 550; UPDATE audit SET seq = -seq WHERE seq < 0", "entry 550 does not follow on entry 549", 549},
		{"two swapped", "UPDATE audit SET seq = -10 WHERE seq = 10; UPDATE audit SET seq = 10 WHERE seq = 11; UPDATE audit SET seq = 11 WHERE seq = -10", "entry 10 does not follow on entry 9", 9},
		{"one put in", "UPDATE audit SET seq = -(seq + 1) WHERE seq > 40; UPDATE audit SET seq = -seq WHERE seq < 0; " + copyOf(40, 41), "entry 41 does not follow on entry 40", 40},
		{"one put behind", copyOf(n, n+1), fmt.Sprintf("entry %d does not follow on entry %d", n+1, n), n},
		{"the tail deleted", "DELETE FROM audit WHERE seq > 580", fmt.Sprintf("the audit ends with entry 580, but the head that was noted knows entry %d", n), 580},
		{"all deleted", "DELETE FROM audit", fmt.Sprintf("the audit ends with entry 0, but the head that was noted knows entry %d", n), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "changed.db")
			if err := os.WriteFile(path, []byte(contents(t, whole)), 0o600); err != nil {
				t.Fatal(err)
			}
			change(t, path, tamper(c.query))
			got, err := Check(t.Context(), path, Mark{head.Seq, head.Hash, "the head that was noted"})
			if err != nil {
				t.Fatal(err)
			}
			if got.Audit.Entries != c.entries || (c.says == "") != (got.Audit.Fault == "") || !strings.Contains(got.Audit.Fault, c.says) {
				t.Errorf("%d entries fit, and %q, want %d and %q", got.Audit.Entries, got.Audit.Fault, c.entries, c.says)
			}
			if (c.says == "") != (got.Sound() == nil) {
				t.Errorf("the file is sound: %v", got.Sound())
			}
		})
	}
}

// TestAuditWrittenAnew replaces the audit by one whose chain holds: what a backup noted of it tells.
func TestAuditWrittenAnew(t *testing.T) {
	s, path := audited(t, 20)
	head := entryAt(t, s, 15)
	write(t, s, func(tx *Tx) error {
		return tx.AddBackup(&Backup{ID: "b", At: start, Name: "b.db", AuditSeq: head.Seq, AuditHash: head.Hash})
	})
	check := func() string {
		t.Helper()
		c, err := Check(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		return c.Audit.Fault
	}
	if fault := check(); fault != "" {
		t.Errorf("before anything was done: %s", fault)
	}
	change(t, path, "DROP TRIGGER audit_is_kept; DELETE FROM audit WHERE seq > 10")
	if fault := check(); !strings.Contains(fault, "ends with entry 10, but the backup b.db knows entry 15") {
		t.Errorf("with the tail cut: %q", fault)
	}
	write(t, s, func(tx *Tx) error {
		for range 10 {
			if err := tx.AppendAudit(access.Entry{Who: "q", Action: access.Record, Outcome: access.Done}); err != nil {
				return err
			}
		}
		return nil
	})
	if fault := check(); !strings.Contains(fault, "entry 15 is not the one that the backup b.db knows") {
		t.Errorf("with the tail written anew: %q", fault)
	}
}

// TestCheckFinds looks at files that are broken in one way each. None is changed by looking.
func TestCheckFinds(t *testing.T) {
	dir := t.TempDir()
	sound := filepath.Join(dir, "sound.db")
	s := squad(t)
	write(t, s, func(tx *Tx) error { _, err := tx.PutReadings("S", readings("S", 2000), onFives); return err })
	if err := s.Backup(t.Context(), sound); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(sound)
	if err != nil {
		t.Fatal(err)
	}
	page := func(n int) []byte { // with a page overwritten
		b := bytes.Clone(whole)
		for i := range 4096 {
			b[(n-1)*4096+i] = 0xa5
		}
		return b
	}
	pages := len(whole) / 4096
	for _, c := range []struct {
		name    string
		content []byte
		query   string
		is      error
		says    string
	}{
		{"sound", whole, "", nil, ""},
		{"a page in the middle", page(pages / 2), "", nil, "damaged"},
		{"the last page", page(pages), "", nil, "damaged"},
		{"the page of the tables", page(1), "", ErrForeign, ""},
		{"cut off", whole[:len(whole)/2], "", nil, "damaged"},
		{"cut within a page", whole[:len(whole)-1000], "", nil, "damaged"},
		{"empty", nil, "", ErrForeign, ""},
		{"text", []byte(strings.Repeat("no database\n", 500)), "", ErrForeign, ""},
		{"newer", whole, "INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)", ErrNewer, ""},
		{"a loose reference", whole, "DELETE FROM screens", nil, "lead nowhere"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(dir, c.name+".db")
			if err := os.WriteFile(path, c.content, 0o600); err != nil {
				t.Fatal(err)
			}
			if c.query != "" {
				change(t, path, c.query)
			}
			before := contents(t, path)
			got, err := Check(t.Context(), path)
			if !errors.Is(err, c.is) {
				t.Fatalf("%v, want %v", err, c.is)
			}
			if c.is == nil {
				err := got.Sound()
				if (c.says == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.says) {
					t.Errorf("it is said to be %v, want %q", err, c.says)
				}
			}
			if contents(t, path) != before {
				t.Error("looking changed it")
			}
		})
	}
	if _, err := Check(t.Context(), filepath.Join(dir, "missing.db")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file that is not there: %v", err)
	}
}

// TestCheckLeavesNoTrace looks at a file that nobody has open, at one in use, and at one whose writer was
// killed: the same files with the same content are there afterwards.
func TestCheckLeavesNoTrace(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "used.db")
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	fill(t, s)
	look := func(name string) {
		t.Helper()
		list, err := filepath.Glob(filepath.Join(dir, "*"))
		if err != nil {
			t.Fatal(err)
		}
		list = slices.DeleteFunc(list, func(p string) bool { return strings.HasSuffix(p, "-shm") }) // who reads is noted there
		before := contents(t, list...)
		soundAt(t, filepath.Join(dir, name))
		if after := contents(t, list...); after != before {
			t.Errorf("%s: looking changed something", name)
		}
		if again, err := filepath.Glob(filepath.Join(dir, "*")); err != nil || len(slices.DeleteFunc(again, func(p string) bool { return strings.HasSuffix(p, "-shm") })) != len(list) {
			t.Errorf("%s: looking left %q of %q (%v)", name, again, list, err)
		}
	}
	copyFiles(t, path, filepath.Join(dir, "killed.db"), 0)
	look("used.db")
	look("killed.db")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	look("used.db")
}
