package keeping

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"
)

// Copies that are not finished stand in a folder of their own, which nobody else may look into.
const (
	workPrefix = ".evenhand-unfinished-"
	staleAfter = 24 * time.Hour // no copy takes that long: the program was killed
)

// workFolder makes a private folder in dir. The function that comes with it removes it with all that is
// in it, and adds to err if it cannot.
func workFolder(dir string, now time.Time) (string, func(err *error), error) {
	sweep(dir, now)
	work, err := os.MkdirTemp(dir, workPrefix) // 0700
	if err != nil {
		return "", nil, err
	}
	return work, func(err *error) { *err = errors.Join(*err, os.RemoveAll(work)) }, nil
}

// sweep removes what a program that was killed left unfinished in dir.
func sweep(dir string, now time.Time) {
	list, err := filepath.Glob(filepath.Join(escapeGlob(dir), workPrefix+"*"))
	if err != nil {
		return
	}
	for _, path := range list {
		info, err := os.Lstat(path)
		if err == nil && info.IsDir() && now.Sub(info.ModTime()) > staleAfter {
			_ = os.RemoveAll(path) // the next sweep tries again
		}
	}
}

// escapeGlob is dir as a pattern that fits it alone.
func escapeGlob(dir string) string {
	if runtime.GOOS == "windows" { // where a pattern has no escape, and a name no such signs
		return dir
	}
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(dir)
}

// taken fails if there is anything at path, or a log beside it that would be taken for its own.
func taken(path string) error {
	for _, suffix := range []string{"", "-wal", "-shm", "-journal"} {
		_, err := os.Lstat(path + suffix)
		switch {
		case err == nil:
			return fmt.Errorf("%s is there already, and nothing is overwritten: name a new file", path+suffix)
		case !errors.Is(err, fs.ErrNotExist):
			return err
		}
	}
	return nil
}

// publish gives a finished file its name, under which there must be nothing, for good.
func publish(from, to string) error {
	if err := syncFile(from); err != nil {
		return err
	}
	// A link fails where there is something already, a rename replaces it; not every disk has links.
	switch err := os.Link(from, to); {
	case errors.Is(err, fs.ErrExist):
		return taken(to)
	case err != nil:
		if err := taken(to); err != nil {
			return err
		}
		if err := os.Rename(from, to); err != nil {
			return err
		}
	}
	return syncFolder(filepath.Dir(to))
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncFolder makes names in a folder outlast a power cut, where the system can.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
