package keeping

import "golang.org/x/sys/windows"

// Room is how much room the disk of a folder has for this user; ok is false where it is not known.
func Room(dir string) (n uint64, ok bool) {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, false
	}
	return n, windows.GetDiskFreeSpaceEx(name, &n, nil, nil) == nil
}
