package keeping

import (
	"fmt"
	"syscall"
	"testing"
)

// smallDisk is a folder on a disk of its own, if this user may make one.
func smallDisk(t *testing.T, bytes int) (dir string, ok bool) {
	t.Helper()
	dir = t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)); err != nil {
		return "", false
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir, true
}
