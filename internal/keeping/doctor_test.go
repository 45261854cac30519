package keeping

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
)

func point(d *Diagnosis, name string) (p Point) {
	for _, x := range d.Points {
		if x.Name == name {
			p = x
		}
	}
	return p
}

func state(d *Diagnosis, name string) State { return point(d, name).State }

// TestDoctor looks at files that are well, or ill in one way each.
func TestDoctor(t *testing.T) {
	w, _ := testWorld(nil)
	made, err := Backup(t.Context(), w, newFile(t, w), &access.Local, t.TempDir(), Lock{}) // on record in the file that it was made of
	if err != nil {
		t.Fatal(err)
	}
	well, err := os.ReadFile(made.Path)
	if err != nil {
		t.Fatal(err)
	}
	addBackup := func(at time.Time, seq int64, hash string) string {
		return fmt.Sprintf("INSERT INTO backups VALUES ('b', %d, 'b.db', 1, 0, %d, '%s')", at.UnixMicro(), seq, hash)
	}
	for _, c := range []struct {
		name, point string
		query       string
		state       State
		says        string
	}{
		{"well", "file", "", Good, "whole"},
		{"well", "references", "", Good, ""},
		{"well", "schema", "", Good, "this program's"},
		{"well", "erasing", "", Good, "overwritten"},
		{"well", "audit", "", Good, "1 entry"},
		{"well", "privacy", "", Good, "only its owner"},
		{"well", "backup", "", Notice, "none was made yet"},
		{"well", "log", "", Good, ""},
		{"backed up", "backup", addBackup(start.Add(-50*time.Hour), 0, ""), Good, "2 days ago: b.db, not encrypted"},
		{"backed up long ago", "backup", addBackup(start.Add(-8*day), 0, ""), Notice, "8 days ago"},
		{"backed up by another clock", "backup", addBackup(start.Add(day), 0, ""), Notice, "which is in the future"},
		{"another head", "audit", addBackup(start, 1, "another"), Wrong, "entry 1 is not the one"},
		{"a cut audit", "audit", addBackup(start, 7, "x"), Wrong, "ends with entry 1, but the backup b.db knows entry 7"},
		{"a changed audit", "audit", "DROP TRIGGER audit_stays; UPDATE audit SET who = 'q'", Wrong, "entry 1 was changed"},
		{"a loose reference", "references", "PRAGMA foreign_keys = off; DELETE FROM athletes", Wrong, "1 fault"},
		{"newer", "file", "INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)", Wrong, "newer version"},
		{"older", "schema", "DELETE FROM goose_db_version WHERE version_id > 3", Notice, "brought to step"},
		{"foreign", "file", "DROP TABLE goose_db_version", Wrong, "something else"},
	} {
		t.Run(c.name+" "+c.point, func(t *testing.T) {
			path := written(t, "evenhand.db", string(well))
			if c.query != "" {
				raw(t, path, func(db *sql.DB) error { _, err := db.ExecContext(t.Context(), c.query); return err })
			}
			d, err := Diagnose(t.Context(), w, path)
			if err != nil {
				t.Fatal(err)
			}
			if p := point(d, c.point); p.State != c.state || !strings.Contains(p.Text, c.says) || d.Wrong() != (c.state == Wrong) {
				t.Errorf("%+v, want %s and %q", d.Points, c.state, c.says)
			}
		})
	}
	shared := written(t, "evenhand.db", string(well))
	if err := os.Chmod(shared, 0o640); err != nil {
		t.Fatal(err)
	}
	if d, err := Diagnose(t.Context(), w, shared); err != nil || d.Wrong() || state(d, "privacy") != Notice || !strings.Contains(point(d, "privacy").Text, "evenhand.db may be read") {
		t.Errorf("%+v, %v", d, err)
	}
	if _, err := Diagnose(t.Context(), w, filepath.Join(t.TempDir(), "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file that is not there: %v", err)
	}
}

// TestDoctorAfterBackup has the doctor compare the audit with what the backup knows of it.
func TestDoctorAfterBackup(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	if _, err := Backup(t.Context(), w, st, &access.Local, t.TempDir(), Lock{}); err != nil {
		t.Fatal(err)
	}
	d, err := Diagnose(t.Context(), w, st.Path())
	list := audit(t, st)
	if err != nil || d.Wrong() || d.Head != Head(&list[1]) || !strings.Contains(point(d, "audit").Text, "known to backups (1) are as they were") {
		t.Errorf("%+v, %v", d, err)
	}
}

// TestDoctorOnAFullDisk says so before nothing can be saved any more.
func TestDoctorOnAFullDisk(t *testing.T) {
	disk, ok := smallDisk(t, 4<<20)
	if !ok {
		t.Log("no disk could be made: this user may not mount one")
		return
	}
	w, _ := testWorld(nil)
	st := newFile(t, w)
	made, err := Backup(t.Context(), w, st, &access.Local, disk, Lock{})
	if err != nil {
		t.Fatal(err)
	}
	d, err := Diagnose(t.Context(), w, made.Path)
	if err != nil || state(d, "disk") != Wrong || !strings.Contains(point(d, "disk").Text, "MB are free") {
		t.Errorf("%+v, %v", d, err)
	}
}

func TestWords(t *testing.T) {
	for d, want := range map[time.Duration]string{time.Minute: "1 minute", 119 * time.Minute: "119 minutes",
		2 * time.Hour: "2 hours", 47 * time.Hour: "47 hours", 48 * time.Hour: "2 days", 400 * day: "400 days"} {
		if got := span(d); got != want {
			t.Errorf("%v is %q, want %q", d, got, want)
		}
	}
	for n, want := range map[uint64]string{0: "0.0 kB", 12345: "12.3 kB", 74e6: "74.0 MB", 12e9: "12.0 GB"} {
		if got := size(n); got != want {
			t.Errorf("%d is %q, want %q", n, got, want)
		}
	}
}
