//go:build unix

package keeping

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"evenhand/internal/access"
)

// TestPrivate makes copies, keys and restored files for somebody whose new files everybody may write to.
func TestPrivate(t *testing.T) {
	old := syscall.Umask(0)
	defer syscall.Umask(old)
	w, _ := testWorld(nil)
	st := newFile(t, w)
	dir := t.TempDir()
	lock, key := testLock(t)
	paths := []string{key, filepath.Join(dir, "plain"), filepath.Join(dir, "sealed"), filepath.Join(dir, "new.db")}
	for i, l := range []Lock{{}, lock} {
		if _, err := Backup(t.Context(), w, st, &access.Local, paths[1+i], l); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := Restore(t.Context(), w, &access.Local, paths[1], paths[3], Key{}); err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", path, info.Mode(), err)
		}
	}
}
