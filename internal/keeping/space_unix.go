//go:build linux || darwin || freebsd

package keeping

import "golang.org/x/sys/unix"

// Room is how much room the disk of a folder has for this user; ok is false where it is not known.
func Room(dir string) (n uint64, ok bool) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, false
	}
	return uint64(s.Bavail) * uint64(s.Bsize), true //nolint:gosec,unconvert // the types differ by system
}
