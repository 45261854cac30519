package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

// fillUp writes screens with readings until the disk takes no more. It returns the screens that were
// acknowledged and the error of the one that was not.
func fillUp(t *testing.T, s *Store, from int) (kept []string, err error) {
	t.Helper()
	for i := from; i < from+5000; i++ {
		id := fmt.Sprintf("F%05d", i)
		err = s.Write(t.Context(), func(tx *Tx) error {
			if _, err := tx.PutScreen(screenOn(id, "A", "T", "2026-02-11"), 0); err != nil {
				return err
			}
			_, err := tx.PutReadings(id, readings(id, 40), onFives)
			return err
		})
		if err != nil {
			return kept, err
		}
		kept = append(kept, id)
	}
	t.Fatal("the disk took all of it")
	return nil, nil
}

// checkFull looks at what holds while the disk is full: the error is one for the user, what was
// acknowledged is there, nothing else is, and reading goes on.
func checkFull(t *testing.T, s *Store, kept []string, err error) {
	t.Helper()
	if p, ok := errors.AsType[*screen.Problem](err); !ok || p.Code != screen.Full || !strings.Contains(p.Text, "nothing was changed") || err.Error() != p.Error() {
		t.Fatalf("a full disk is told as %v", err)
	}
	if code(err) == 0 {
		t.Errorf("the engine's own error is lost: %v", err)
	}
	read(t, s, func(tx *Tx) error {
		recs, err := tx.Records(kept)
		if err != nil || len(recs) != len(kept) {
			t.Fatalf("%d of %d screens (%v)", len(recs), len(kept), err)
		}
		for _, r := range recs {
			if len(r.Readings) != 40 {
				t.Errorf("screen %s has %d readings", r.Screen.ID, len(r.Readings))
			}
		}
		ids, err := tx.AthleteScreenIDs("A")
		if len(ids) != len(kept)+1 {
			t.Errorf("%d screens are on file, %d were acknowledged", len(ids), len(kept)+1)
		}
		return err
	})
}

// TestFull lets the engine itself say that there is no room: it may have no more pages than it has.
func TestFull(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s := openAt(t, path)
	fill(t, s)
	limit := func(pages int) {
		if _, err := s.write.sql.ExecContext(t.Context(), fmt.Sprintf("PRAGMA max_page_count = %d", pages)); err != nil {
			t.Fatal(err)
		}
	}
	limit(400)
	kept, err := fillUp(t, s, 0)
	checkFull(t, s, kept, err)
	for range 3 { // it stays so, and does no harm
		_, err = fillUp(t, s, 90000)
		checkFull(t, s, kept, err)
	}
	limit(1 << 30)
	write(t, s, func(tx *Tx) error { _, err := tx.PutReadings(kept[0], readings("S", 0), nil); return err })
	write(t, s, func(tx *Tx) error { _, err := tx.PutScreen(screenOn("again", "A", "T", "2026-02-12"), 0); return err })
	soundAt(t, path)
}

func soundAt(t *testing.T, path string) {
	t.Helper()
	c, err := Check(t.Context(), path)
	if err == nil {
		err = c.Sound()
	}
	if err != nil {
		t.Error(err)
	}
}

// TestFullDisk fills a real disk of two megabytes, and makes room again. Only the administrator of a
// machine can make such a disk: for anybody else TestFull and TestFileLimit have to do.
func TestFullDisk(t *testing.T) {
	disk, ok := smallDisk(t, 2<<20)
	if !ok {
		t.Log("no disk could be made: this user may not mount one")
		return
	}
	ballast := filepath.Join(disk, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 500<<10), 0o600); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(disk, "store.db")
	s := openAt(t, path)
	fill(t, s)
	kept, err := fillUp(t, s, 0)
	checkFull(t, s, kept, err)
	if err := s.Backup(t.Context(), filepath.Join(disk, "copy.db")); !screen.IsCode(err, screen.Full) {
		t.Errorf("a copy to a full disk returned %v", err)
	}
	if _, err := os.Stat(filepath.Join(disk, "copy.db")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a part of a copy stayed behind: %v", err)
	}
	checkFull(t, s, kept, err)
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	write(t, s, func(tx *Tx) error { _, err := tx.PutScreen(screenOn("again", "A", "T", "2026-02-12"), 0); return err })
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	soundAt(t, path)
	again := openAt(t, path)
	read(t, again, func(tx *Tx) error {
		ids, err := tx.AthleteScreenIDs("A")
		if len(ids) != len(kept)+2 {
			t.Errorf("%d screens, want %d", len(ids), len(kept)+2)
		}
		return err
	})
}
