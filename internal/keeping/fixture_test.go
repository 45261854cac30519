package keeping

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

var start = time.Date(2026, 2, 10, 8, 0, 0, 0, time.UTC)

// testWorld is a world whose clock stands still, or is the one given, with what was logged.
func testWorld(now func() time.Time) (*World, *bytes.Buffer) {
	log, n := &bytes.Buffer{}, 0
	if now == nil {
		now = func() time.Time { return start }
	}
	return &World{Now: now, NewID: func() string { n++; return fmt.Sprintf("id-%d", n) }, Log: slog.New(slog.NewTextHandler(log, nil))}, log
}

// newFile is an open file with an athlete in it.
func newFile(t testing.TB, w *World) *store.Store {
	t.Helper()
	st, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "evenhand.db"), store.Options{Now: w.Now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	add(t, st, "A")
	return st
}

// add adds an athlete, with an entry in the audit.
func add(t testing.TB, st *store.Store, id string) {
	t.Helper()
	a := screen.Athlete{ID: id, Name: "Athlete " + id, Born: "2012-03-04", Sex: screen.Female, Level: screen.Youth, Sport: "handball",
		Hands: []screen.HandSince{{Hand: screen.RightHand}}}
	if err := st.Write(context.WithoutCancel(t.Context()), func(tx *store.Tx) error {
		if _, err := tx.PutAthlete(&a, 0); err != nil {
			return err
		}
		return tx.AppendAudit(access.Entry{Who: "p", Action: access.ManageRoster, Outcome: access.Done, Kind: "athlete", Subject: id})
	}); err != nil {
		t.Fatal(err)
	}
}

// athletes are the names of those in the file at path.
func athletes(t *testing.T, path string) (names []string) {
	t.Helper()
	st, err := store.Open(t.Context(), path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	err = st.Read(t.Context(), func(tx *store.Tx) error {
		list, _, err := tx.Athletes("", store.Page{})
		for i := range list {
			names = append(names, list[i].Name)
		}
		return err
	})
	if err := st.Close(); err != nil {
		t.Error(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// files are the names in a folder.
func files(t *testing.T, dir string) (names []string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		names = append(names, e.Name())
	}
	return names
}

// audit are the entries of the audit.
func audit(t *testing.T, st *store.Store) (list []access.Entry) {
	t.Helper()
	if err := st.Read(t.Context(), func(tx *store.Tx) error {
		return tx.EachAudit(func(e *access.Entry) error { list = append(list, *e); return nil })
	}); err != nil {
		t.Fatal(err)
	}
	return list
}

// written is a new file with a content.
func written(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
