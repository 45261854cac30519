package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"evenhand/internal/screen"
)

// TestPragmas holds several connections of each pool at once and asks each what is in force.
func TestPragmas(t *testing.T) {
	s := squad(t)
	for _, c := range []struct {
		name  string
		pool  *pool
		conns int
		only  string // query_only
	}{{"writer", s.write, 1, "0"}, {"readers", s.read, readers, "1"}} {
		if got := c.pool.sql.Stats().MaxOpenConnections; got != c.conns {
			t.Errorf("%s: %d connections at most, want %d", c.name, got, c.conns)
		}
		want := map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1",
			"busy_timeout": "10000", "query_only": c.only}
		var held []*sql.Conn
		for i := range c.conns {
			conn, err := c.pool.sql.Conn(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			held = append(held, conn)
			for pragma, value := range want {
				var got string
				if err := conn.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != value {
					t.Errorf("%s, connection %d: %s is %q (%v), want %q", c.name, i, pragma, got, err, value)
				}
			}
		}
		for _, conn := range held {
			if err := conn.Close(); err != nil {
				t.Error(err)
			}
		}
	}
}

// TestPaths opens files whose names mean something else in a URI, and looks for them where they belong.
func TestPaths(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	for _, name := range []string{"plain.db", "with space.db", "what?.db", "hash#.db", "100%41.db", "a&b=c.db", "ü+ñ.db",
		"file:x.db", "./dot.db", "_pragma=synchronous(off).db?_pragma=synchronous(off)"} {
		for _, path := range []string{name, filepath.Join(dir, "abs "+strings.TrimPrefix(name, "./"))} {
			fill(t, openAt(t, path))
			if info, err := os.Stat(path); err != nil || info.Size() == 0 {
				t.Errorf("%q: %v, size 0 or not there", path, err)
			} else if info.Mode().Perm() != 0o600 {
				t.Errorf("%q may be read by others: %v", path, info.Mode())
			}
		}
	}
	fill(t, openAt(t, "/"+filepath.Join(dir, "slashes"))) // two slashes would begin with the name of a host
	files, err := filepath.Glob("*.db*")
	if err != nil || len(files) != 20*3 { // each with its log and its index
		t.Errorf("%d files, want 60: %q", len(files), files)
	}
}

func TestOpenFails(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.db")
	if err := os.WriteFile(text, []byte(strings.Repeat("this is no database\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(dir, "other.db")
	change(t, other, "CREATE TABLE something (x)")
	before := contents(t, text, other)
	for path, want := range map[string]error{
		"": nil, dir: nil, filepath.Join(dir, "missing", "x.db"): os.ErrNotExist, text: ErrForeign, other: ErrForeign,
	} {
		s, err := Open(t.Context(), path, Options{})
		if err == nil {
			t.Errorf("%q was opened", path)
			_ = s.Close()
		} else if want != nil && !errors.Is(err, want) {
			t.Errorf("%q: %v, want %v", path, err, want)
		}
	}
	if after := contents(t, text, other); after != before {
		t.Error("a file that was refused was changed")
	}
}

// contents are files, one behind the other.
func contents(t *testing.T, paths ...string) string {
	t.Helper()
	var all []byte
	for _, path := range paths {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, b...)
	}
	return string(all)
}

// change runs a statement on a database file, behind the store's back.
func change(t *testing.T, path, query string) {
	t.Helper()
	db, err := sql.Open(driverName, dsn(path, migrateDSN))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	if _, err := db.ExecContext(t.Context(), query); err != nil {
		t.Fatal(err)
	}
}

func TestReopen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	fill(t, s)
	write(t, s, func(tx *Tx) error { _, err := tx.PutReadings("S", readings("S", 80), onFives); return err })
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if n := len(record(t, openAt(t, path), "S").Readings); n != 80 {
		t.Errorf("%d readings after reopening, want 80", n)
	}
}

// TestPowerCut opens what is in the files while a transaction has written and not ended, as after a
// power cut, with the log whole, and with its last commit torn.
func TestPowerCut(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "store.db")
	s := openAt(t, path)
	fill(t, s)
	put := func(from, to int) func(*Tx) error {
		return func(tx *Tx) error {
			_, err := tx.PutReadings("S", readings("S", 30)[from:to], nil)
			return err
		}
	}
	write(t, s, put(0, 10))
	write(t, s, put(10, 20))
	enough := errors.New("enough")
	whole, torn := filepath.Join(dir, "whole.db"), filepath.Join(dir, "torn.db")
	err := s.Write(t.Context(), func(tx *Tx) error {
		if err := put(20, 30)(tx); err != nil {
			return err
		}
		copyFiles(t, path, whole, 0)
		copyFiles(t, path, torn, 1000)
		return enough
	})
	if !errors.Is(err, enough) {
		t.Fatal(err)
	}
	if n := len(record(t, openAt(t, whole), "S").Readings); n != 20 {
		t.Errorf("%d readings after the cut, want the 20 of the finished writes", n)
	}
	if n := len(record(t, openAt(t, torn), "S").Readings); n != 10 {
		t.Errorf("%d readings after a torn log, want the 10 of the writes that are whole", n)
	}
}

// copyFiles copies a database and its log without the last cut bytes.
func copyFiles(t *testing.T, from, to string, cut int) {
	t.Helper()
	for suffix, cut := range map[string]int{"": 0, "-wal": cut} {
		b, err := os.ReadFile(from + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to+suffix, b[:len(b)-cut], 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func TestBackup(t *testing.T) {
	s := squad(t)
	path := filepath.Join(t.TempDir(), "copy of it.db")
	if err := s.Backup(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(t.Context(), path); !errors.Is(err, os.ErrExist) {
		t.Errorf("a backup over a file returned %v", err)
	}
	if rec := record(t, openAt(t, path), "S"); rec.Athlete.ID != "A" {
		t.Errorf("the copy has %+v", rec)
	}
}

// TestConcurrentWriters has 8 goroutines write, in two stores on one file as two processes would have,
// while others read. Each writes after it has read: that is what fails without an immediate lock.
func TestConcurrentWriters(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	stores := []*Store{openAt(t, path), openAt(t, path)}
	fill(t, stores[0])
	const writers, each = 8, 10
	errs := make(chan error, 2*writers)
	var wg sync.WaitGroup
	for w := range writers {
		s := stores[w%2]
		wg.Go(func() {
			for i := range each {
				errs <- s.Write(context.Background(), func(tx *Tx) error { return addOne(tx, fmt.Sprintf("w%d-%d", w, i)) })
			}
		})
		wg.Go(func() {
			for range each {
				errs <- s.Read(context.Background(), func(tx *Tx) error { _, err := tx.Record("S"); return err })
			}
		})
	}
	go func() { wg.Wait(); close(errs) }()
	for err := range errs {
		if err != nil {
			t.Error(err)
		}
	}
	for _, s := range stores {
		rec := record(t, s, "S")
		if len(rec.Readings) != writers*each || rec.Screen.Revision != 1+writers*each {
			t.Errorf("%d readings at revision %d, want %d at %d", len(rec.Readings), rec.Screen.Revision, writers*each, 1+writers*each)
		}
	}
}

func addOne(tx *Tx, id string) error {
	if _, err := tx.Screen("S"); err != nil {
		return err
	}
	r := readings("S", 1)
	r[0].ID = id
	_, err := tx.PutReadings("S", r, onFives)
	return err
}

// TestOpenTogether makes one new file from several stores at once, as processes that start together do.
func TestOpenTogether(t *testing.T) {
	for i := range 5 {
		path := filepath.Join(t.TempDir(), fmt.Sprintf("%d.db", i))
		var wg sync.WaitGroup
		for range 4 {
			wg.Go(func() {
				s, err := Open(context.Background(), path, Options{})
				if err != nil {
					t.Error(err)
					return
				}
				if err := s.Close(); err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		fill(t, openAt(t, path))
	}
}

func TestAllOrNothing(t *testing.T) {
	s := squad(t)
	broken := errors.New("broken")
	for name, fn := range map[string]func(*Tx) error{
		"an error afterwards": func(*Tx) error { return broken },
		"a hidden conflict": func(tx *Tx) error {
			other := team("T")
			other.Name = "another name"
			_, _ = tx.PutTeam(other, 0)
			return nil
		},
		"a hidden invalid reading": func(tx *Tx) error {
			_, _ = tx.PutReadings("S", []screen.Reading{{ID: "", Screen: "S"}}, nil)
			return nil
		},
	} {
		err := s.Write(t.Context(), func(tx *Tx) error {
			if _, err := tx.PutTeam(team("T2"), 0); err != nil {
				return err
			}
			if _, err := tx.PutReadings("S", readings("S", 3), onFives); err != nil {
				return err
			}
			return fn(tx)
		})
		if err == nil {
			t.Errorf("%s: no error", name)
		}
		checkUntouched(t, s, name)
	}
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		_ = s.Write(t.Context(), func(tx *Tx) error {
			if _, err := tx.PutTeam(team("T2"), 0); err != nil {
				return err
			}
			panic("stop")
		})
	}()
	checkUntouched(t, s, "a panic")
}

func checkUntouched(t *testing.T, s *Store, name string) {
	t.Helper()
	read(t, s, func(tx *Tx) error {
		if _, err := tx.Team("T2"); !screen.IsCode(err, screen.NotFound) {
			t.Errorf("%s: the team is on file: %v", name, err)
		}
		rec, err := tx.Record("S")
		if err == nil && (len(rec.Readings) != 0 || rec.Screen.Revision != 1) {
			t.Errorf("%s: %d readings at revision %d", name, len(rec.Readings), rec.Screen.Revision)
		}
		if _, total, err := tx.Heaping("T"); err != nil || total != 0 {
			t.Errorf("%s: %d readings counted (%v)", name, total, err)
		}
		return err
	})
}

func TestReadCannotWrite(t *testing.T) {
	s := squad(t)
	err := s.Read(t.Context(), func(tx *Tx) error { _, err := tx.PutTeam(team("T2"), 0); return err })
	if err == nil {
		t.Error("a Read wrote")
	}
	if _, ok := errors.AsType[*screen.Problem](err); ok {
		t.Errorf("writing in a Read is the caller's bug, not a problem for a user: %v", err)
	}
}

func TestCancelled(t *testing.T) {
	s := squad(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	nothing := func(*Tx) error { return nil }
	if err := s.Read(ctx, nothing); !errors.Is(err, context.Canceled) {
		t.Errorf("Read returned %v", err)
	}
	if err := s.Write(ctx, nothing); !errors.Is(err, context.Canceled) {
		t.Errorf("Write returned %v", err)
	}
	ctx, cancel = context.WithCancel(t.Context())
	err := s.Write(ctx, func(tx *Tx) error {
		_, err := tx.PutTeam(team("T2"), 0)
		cancel()
		return err
	})
	if err == nil {
		t.Error("a write whose caller had gone was kept")
	}
	checkUntouched(t, s, "cancelled")
}
