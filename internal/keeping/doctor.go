package keeping

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"evenhand/internal/store"
)

// State says how something is.
type State string

// The states. Only Wrong is an error.
const (
	Good   State = "good"
	Notice State = "notice" // nothing is broken, but somebody should know
	Wrong  State = "wrong"
)

// Point is one thing that was looked at.
type Point struct {
	Name  string `json:"name"`
	State State  `json:"state"`
	Text  string `json:"text"`
}

// Diagnosis is what was found about a file. Head is the last entry of its audit, as number:hash.
type Diagnosis struct {
	File   string  `json:"file"`
	Points []Point `json:"points"`
	Head   string  `json:"head,omitempty"`
}

// Wrong reports whether anything is.
func (d *Diagnosis) Wrong() bool {
	for i := range d.Points {
		if d.Points[i].State == Wrong {
			return true
		}
	}
	return false
}

func (d *Diagnosis) add(s State, name, format string, args ...any) {
	d.Points = append(d.Points, Point{name, s, fmt.Sprintf(format, args...)})
}

// Diagnose looks at the database file at path and at what is around it. Nothing is changed. Returns an
// error only if there is no such file.
func Diagnose(ctx context.Context, w *World, path string, marks ...store.Mark) (*Diagnosis, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, err
	}
	d := &Diagnosis{File: path}
	c, err := store.Check(ctx, path, marks...)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		d.add(Wrong, "file", "%s", plain(err))
	default:
		d.file(c)
		d.audit(c)
		d.backups(c, w.Now())
	}
	d.private(path)
	d.space(path)
	d.log(path)
	return d, nil
}

// plain is an error without the package's own words before it.
func plain(err error) string {
	for _, known := range []error{store.ErrForeign, store.ErrNewer} {
		if errors.Is(err, known) {
			return known.Error()
		}
	}
	return err.Error()
}

func (d *Diagnosis) file(c *store.Checked) {
	if len(c.Damage) > 0 {
		d.add(Wrong, "file", "damaged, %s: %s. Stop evenhand, keep the file, and restore the newest backup", times(len(c.Damage), "fault"), c.Damage[0])
	} else {
		d.add(Good, "file", "whole, %s", size(uint64(c.Bytes)))
	}
	if len(c.Loose) > 0 {
		d.add(Wrong, "references", "%s, such as: %s", times(len(c.Loose), "fault"), c.Loose[0])
	} else {
		d.add(Good, "references", "all lead to what they name")
	}
	if c.Step == c.Knows {
		d.add(Good, "schema", "step %d, this program's", c.Step)
	} else {
		d.add(Notice, "schema", "step %d; it is brought to step %d when it is next served. Make a backup before", c.Step, c.Knows)
	}
	if c.SecureErase {
		d.add(Good, "erasing", "what is deleted is overwritten")
	} else {
		d.add(Wrong, "erasing", "what is deleted is not overwritten: the engine was built without it")
	}
}

func (d *Diagnosis) audit(c *store.Checked) {
	switch a := &c.Audit; {
	case c.Step != c.Knows || len(c.Damage) > 0:
		d.add(Notice, "audit", "not looked at in such a file")
	case a.Fault != "":
		d.add(Wrong, "audit", "%s", a.Fault)
	default:
		d.Head = Head(a.Head)
		d.add(Good, "audit", "%s, each follows on the one before; those known to backups (%d) are as they were", times(int(a.Entries), "entry"), len(c.Backups))
	}
}

const oldBackup = 7 * 24 * time.Hour

func (d *Diagnosis) backups(c *store.Checked, now time.Time) {
	if c.Step != c.Knows || len(c.Damage) > 0 {
		return
	}
	p, failed := &c.Plan, ""
	if !p.Failed.IsZero() {
		failed = fmt.Sprintf("; the scheduled one of %s failed: %s", stamp(p.Failed), p.Why)
	}
	if len(c.Backups) == 0 {
		state := Notice
		if failed != "" {
			state = Wrong
		}
		d.add(state, "backup", "none was made yet%s", failed)
		return
	}
	b := &c.Backups[0]
	age := now.Sub(b.At)
	ago := span(age) + " ago"
	if age < 0 {
		ago = "which is in the future"
	}
	text := fmt.Sprintf("the newest was made %s, %s: %s, %s%s", stamp(b.At), ago, b.Name, map[bool]string{true: "encrypted", false: "not encrypted"}[b.Encrypted], failed)
	switch {
	case failed != "":
		d.add(Wrong, "backup", "%s", text)
	case p.Every > 0 && age > lateFactor*p.Every:
		d.add(Wrong, "backup", "%s; one was planned every %s", text, span(p.Every))
	case p.Every == 0 && age > oldBackup || age < 0:
		d.add(Notice, "backup", "%s", text)
	default:
		d.add(Good, "backup", "%s", text)
	}
}

// private looks whether others on this machine can read the file.
func (d *Diagnosis) private(path string) {
	if runtime.GOOS == "windows" {
		d.add(Notice, "privacy", "who may read the file is not looked at on this system")
		return
	}
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		if info, err := os.Stat(name); err == nil && info.Mode().Perm()&0o077 != 0 {
			d.add(Notice, "privacy", "%s may be read or written by others on this machine (%v); `chmod 600` ends that", filepath.Base(name), info.Mode().Perm())
			return
		}
	}
	d.add(Good, "privacy", "only its owner may read the file")
}

const leastFree = 64 << 20

// space looks whether there is room to go on writing, and for the file to be written anew beside itself.
func (d *Diagnosis) space(path string) {
	free, ok := Room(filepath.Dir(path))
	info, err := os.Stat(path)
	switch {
	case !ok || err != nil:
		d.add(Notice, "disk", "how much room there is is not known on this system")
	case free < leastFree:
		d.add(Wrong, "disk", "only %s are free: soon nothing can be saved any more", size(free))
	case free < 2*uint64(info.Size()): //nolint:gosec // a size
		d.add(Notice, "disk", "%s are free, less than twice the file's size: a backup or a newer schema may not fit", size(free))
	default:
		d.add(Good, "disk", "%s are free", size(free))
	}
}

const largeLog = 256 << 20

func (d *Diagnosis) log(path string) {
	info, err := os.Stat(path + "-wal")
	switch {
	case err != nil:
		d.add(Good, "log", "none: nobody has the file open")
	case info.Size() > largeLog:
		d.add(Notice, "log", "%s wait to be moved to the file: a program has been reading for long; starting evenhand anew ends that", size(uint64(info.Size()))) //nolint:gosec // a size
	default:
		d.add(Good, "log", "%s", size(uint64(info.Size()))) //nolint:gosec // a size
	}
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") + " UTC" }

func times(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if what == "entry" {
		return fmt.Sprintf("%d entries", n)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// span is a time in the unit that fits it.
func span(d time.Duration) string {
	switch {
	case d < 2*time.Hour:
		return times(int(d/time.Minute), "minute")
	case d < 48*time.Hour:
		return times(int(d/time.Hour), "hour")
	}
	return times(int(d/(24*time.Hour)), "day")
}

// size is a number of bytes in the unit that fits it.
func size(n uint64) string {
	switch {
	case n < 1<<20:
		return fmt.Sprintf("%.1f kB", float64(n)/1e3)
	case n < 1e9:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.1f GB", float64(n)/1e9)
}
