//go:build linux || darwin

package store

import (
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"

	"evenhand/internal/screen"
)

// TestFileLimit has the system refuse to let files grow, as a quota does, in a process of its own.
func TestFileLimit(t *testing.T) {
	if os.Getenv("EVENHAND_TEST_LIMIT") == "" {
		cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestFileLimit$")
		cmd.Env = append(os.Environ(), "EVENHAND_TEST_LIMIT=1")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		return
	}
	signal.Ignore(syscall.SIGXFSZ)
	path := filepath.Join(t.TempDir(), "store.db")
	s := openAt(t, path)
	fill(t, s)
	limit := func(bytes uint64) {
		var l syscall.Rlimit
		err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &l)
		l.Cur = min(bytes, l.Max)
		if err = errors.Join(err, syscall.Setrlimit(syscall.RLIMIT_FSIZE, &l)); err != nil {
			t.Fatal(err)
		}
	}
	limit(1 << 20)
	kept, err := fillUp(t, s, 0)
	checkFull(t, s, kept, err)
	limit(100 << 10)
	to := filepath.Join(t.TempDir(), "copy.db")
	if err := s.Backup(t.Context(), to); !screen.IsCode(err, screen.Full) {
		t.Errorf("a copy that may not be written returned %v", err)
	}
	if _, err := os.Stat(to); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a part of a copy stayed behind: %v", err)
	}
	checkFull(t, s, kept, err)
	limit(1 << 62)
	write(t, s, func(tx *Tx) error { _, err := tx.PutScreen(screenOn("again", "A", "T", "2026-02-12"), 0); return err })
	if err := s.Backup(t.Context(), to); err != nil {
		t.Error(err)
	}
	soundAt(t, path)
	soundAt(t, to)
}
