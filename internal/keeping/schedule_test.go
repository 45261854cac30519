package keeping

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/store"
)

const day = 24 * time.Hour

// kept runs fn in a bubble whose clock moves when all wait, with a file and a folder for copies.
func kept(t *testing.T, fn func(t *testing.T, w *World, st *store.Store, dir string, log *bytes.Buffer)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		w, log := testWorld(time.Now)
		fn(t, w, newFile(t, w), t.TempDir(), log)
	})
}

func startKeeper(t *testing.T, w *World, st *store.Store, p Plan) *Keeper {
	t.Helper()
	k, err := Start(t.Context(), *w, st, p)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(k.Close)
	synctest.Wait()
	return k
}

// pass lets time pass.
func pass(d time.Duration) {
	<-time.After(d)
	synctest.Wait()
}

// TestSchedule makes a copy a day and keeps three. Files of others in the folder stay.
func TestSchedule(t *testing.T) {
	kept(t, func(t *testing.T, w *World, st *store.Store, dir string, log *bytes.Buffer) {
		foreign := []string{"evenhand-19990101T000000Z.db", "notes.txt", "evenhand-20000101T000000Z.db.age", "evenhand.db"}
		for _, name := range foreign {
			if err := os.WriteFile(filepath.Join(dir, name), []byte("of somebody else"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		ours := func() (names []string) {
			for _, name := range files(t, dir) {
				if !slices.Contains(foreign, name) {
					names = append(names, name)
				}
			}
			return names
		}
		k := startKeeper(t, w, st, Plan{Dir: dir, Every: day, Keep: 3})
		if got := ours(); len(got) != 1 { // there was none, so it is due at once
			t.Fatalf("after the start there are %v", got)
		}
		pass(day - time.Second)
		if got := ours(); len(got) != 1 {
			t.Fatalf("before a day has passed there are %v", got)
		}
		pass(time.Second)
		pass(5 * day)
		if got := ours(); !slices.Equal(got, []string{"evenhand-20000105T000000Z.db", "evenhand-20000106T000000Z.db", "evenhand-20000107T000000Z.db"}) {
			t.Errorf("after six days there are %v", got)
		}
		if err := k.Late(t.Context()); err != nil {
			t.Error(err)
		}
		k.Close()
		pass(12 * time.Hour)
		k = startKeeper(t, w, st, Plan{Dir: dir, Every: day, Keep: 2}) // the newest is half a day old
		if got := ours(); len(got) != 3 {
			t.Errorf("after a restart half a day later there are %v", got)
		}
		pass(12 * time.Hour)
		if got := ours(); !slices.Equal(got, []string{"evenhand-20000107T000000Z.db", "evenhand-20000108T000000Z.db"}) {
			t.Errorf("a day after the last copy there are %v", got)
		}
		k.Close()
		if got := files(t, dir); len(got) != len(foreign)+2 {
			t.Errorf("files of others were touched: %v", got)
		}
		if e := audit(t, st)[1]; e.Who != "schedule" || e.Kind != "backup" || e.Via != "serve --backup-dir" {
			t.Errorf("the audit says %+v", e)
		}
		if log.Len() > 0 {
			t.Errorf("logged was %s", log)
		}
	})
}

// TestScheduleThatFails has the folder gone for a while: it is logged, told, tried again sooner, and no
// copy is removed meanwhile.
func TestScheduleThatFails(t *testing.T) {
	kept(t, func(t *testing.T, w *World, st *store.Store, dir string, log *bytes.Buffer) {
		k := startKeeper(t, w, st, Plan{Dir: dir, Every: day, Keep: 1})
		away := dir + " away"
		if err := os.Rename(dir, away); err != nil {
			t.Fatal(err)
		}
		pass(day)
		if !strings.Contains(log.String(), "a scheduled backup failed") {
			t.Errorf("logged was %q", log)
		}
		if p := plan(t, st); p.Failed.IsZero() || p.Why == "" || p.Every != day || p.Keep != 1 {
			t.Errorf("on record is %+v", p)
		}
		if err := k.Late(t.Context()); err != nil {
			t.Errorf("after one that failed: %v", err)
		}
		pass(day + time.Minute)
		if err := k.Late(t.Context()); err == nil || !strings.Contains(err.Error(), "one is due every 24h") {
			t.Errorf("after two days without a copy: %v", err)
		}
		if got := files(t, away); len(got) != 1 {
			t.Errorf("the copy from before: %v", got)
		}
		d, err := Diagnose(t.Context(), w, st.Path())
		if err != nil || !d.Wrong() || state(d, "backup") != Wrong {
			t.Errorf("the doctor says %+v, %v", d, err)
		}
		if err := os.Rename(away, dir); err != nil {
			t.Fatal(err)
		}
		pass(retryAfter)
		if p := plan(t, st); !p.Failed.IsZero() || p.Why != "" {
			t.Errorf("after one that went well on record is %+v", p)
		}
		if err := k.Late(t.Context()); err != nil || len(files(t, dir)) != 1 {
			t.Errorf("%v, %v", err, files(t, dir))
		}
		k.Close()
	})
}

func plan(t *testing.T, st *store.Store) (p store.BackupPlan) {
	t.Helper()
	if err := st.Read(t.Context(), func(tx *store.Tx) (err error) { p, err = tx.BackupPlan(); return err }); err != nil {
		t.Fatal(err)
	}
	return p
}

// TestRotationKeepsTheGoodOnes has copies damaged, gone and put there by hand: only whole ones count
// among those that are kept.
func TestRotationKeepsTheGoodOnes(t *testing.T) {
	kept(t, func(t *testing.T, w *World, st *store.Store, dir string, _ *bytes.Buffer) {
		k := startKeeper(t, w, st, Plan{Dir: dir, Every: day, Keep: 2})
		pass(day)
		// The copy of the second day is cut off: the first one has to stay, although there is a third.
		second := filepath.Join(dir, "evenhand-20000102T000000Z.db")
		if err := os.Truncate(second, 100); err != nil {
			t.Fatal(err)
		}
		byHand, err := Backup(t.Context(), w, st, &access.Local, filepath.Join(dir, "by hand.db"), Lock{})
		if err != nil {
			t.Fatal(err)
		}
		pass(day)
		if got, want := files(t, dir), []string{"by hand.db", "evenhand-20000101T000000Z.db", "evenhand-20000102T000000Z.db", "evenhand-20000103T000000Z.db"}; !slices.Equal(got, want) {
			t.Errorf("there are %v, want %v", got, want)
		}
		pass(day)
		if got, want := files(t, dir), []string{"by hand.db", "evenhand-20000103T000000Z.db", "evenhand-20000104T000000Z.db"}; !slices.Equal(got, want) {
			t.Errorf("there are %v, want %v", got, want)
		}
		// What stands under a copy's name and is none is left alone.
		third := filepath.Join(dir, "evenhand-20000103T000000Z.db")
		if err := errors.Join(os.Remove(third), os.Mkdir(third, 0o700)); err != nil {
			t.Fatal(err)
		}
		pass(2 * day)
		if got := files(t, dir); !slices.Contains(got, filepath.Base(third)) || !slices.Contains(got, byHand.Name) {
			t.Errorf("there are %v", got)
		}
		k.Close()
	})
}

// TestTwoFilesInOneFolder: neither removes what the other one wrote.
func TestTwoFilesInOneFolder(t *testing.T) {
	kept(t, func(t *testing.T, w *World, st *store.Store, dir string, log *bytes.Buffer) {
		k := startKeeper(t, w, st, Plan{Dir: dir, Every: day, Keep: 1})
		pass(time.Hour)
		other := newFile(t, w)
		o := startKeeper(t, w, other, Plan{Dir: dir, Every: day, Keep: 1})
		pass(3 * day)
		if got, want := files(t, dir), []string{"evenhand-20000104T000000Z.db", "evenhand-20000104T010000Z.db"}; !slices.Equal(got, want) {
			t.Errorf("there are %v, want %v", got, want)
		}
		k.Close()
		o.Close()
		if log.Len() > 0 {
			t.Errorf("logged was %s", log)
		}
	})
}

func TestPlansThatCannotBe(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	dir, file := t.TempDir(), written(t, "file", "x")
	for name, p := range map[string]Plan{
		"no folder":    {Dir: filepath.Join(dir, "missing"), Every: day, Keep: 1},
		"a file":       {Dir: file, Every: day, Keep: 1},
		"too often":    {Dir: dir, Every: time.Second, Keep: 1},
		"none kept":    {Dir: dir, Every: day},
		"no recipient": {Dir: dir, Every: day, Keep: 1, Recipient: []string{"somebody"}},
	} {
		if k, err := Start(t.Context(), *w, st, p); err == nil {
			k.Close()
			t.Errorf("%s: no error", name)
		}
	}
	tamper(t, st, func(tx *store.Tx) error {
		return tx.PutBackupPlan(store.BackupPlan{Every: day, Keep: 1, Failed: start})
	})
	k, err := Start(t.Context(), *w, st, Plan{Every: day, Keep: 14}) // the flags without a folder
	if err != nil {
		t.Fatal(err)
	}
	if k.Close(); k.Late(context.Background()) != nil || plan(t, st) != (store.BackupPlan{}) || len(audit(t, st)) != 1 {
		t.Errorf("without a folder: %v, %+v", k.Late(context.Background()), plan(t, st))
	}
}

// TestScheduleEncrypts writes copies that only the key opens.
func TestScheduleEncrypts(t *testing.T) {
	kept(t, func(t *testing.T, w *World, st *store.Store, dir string, _ *bytes.Buffer) {
		keyFile := filepath.Join(t.TempDir(), "key")
		recipient, err := NewKeyFile(keyFile, w.Now())
		if err != nil {
			t.Fatal(err)
		}
		k := startKeeper(t, w, st, Plan{Dir: dir, Every: day, Keep: 2, Recipient: []string{recipient}})
		pass(3 * day)
		k.Close()
		got := files(t, dir)
		if !slices.Equal(got, []string{"evenhand-20000103T000000Z.db.age", "evenhand-20000104T000000Z.db.age"}) {
			t.Fatalf("there are %v", got)
		}
		key, err := NewKey(keyFile, "")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Inspect(t.Context(), w, filepath.Join(dir, got[1]), t.TempDir(), key); err != nil {
			t.Error(err)
		}
	})
}
