package store

import (
	"errors"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
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
