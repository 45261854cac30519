//go:build !linux && !darwin && !freebsd && !windows

package keeping

// Room is not known here.
func Room(string) (n uint64, ok bool) { return 0, false }
