package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/keeping"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// keptFile is a closed database file with two athletes, who have a screen each, and some entries in the
// audit, one of which would be a formula in a spreadsheet.
func keptFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "evenhand.db")
	st, err := store.Open(t.Context(), path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	err = st.Write(t.Context(), func(tx *store.Tx) error {
		if _, err := tx.PutTeam(&screen.Team{ID: "T", Name: "Kept", Sport: "baseball"}, 0); err != nil {
			return err
		}
		for i := range 2 {
			a := screen.Athlete{ID: fmt.Sprintf("A%d", i), Name: fmt.Sprintf("Invented %d", i), Born: "2010-06-01", Sex: screen.Male,
				Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
			if _, err := tx.PutAthlete(&a, 0); err != nil {
				return err
			}
			if _, err := tx.PutMembership(screen.Membership{ID: "M" + a.ID, Team: "T", Athlete: a.ID}, 0); err != nil {
				return err
			}
			s := screen.Screen{ID: "S" + a.ID, Athlete: a.ID, Team: "T", Kind: screen.InSeason, On: "2026-01-10"}
			if _, err := tx.PutScreen(&s, 0); err != nil {
				return err
			}
			if _, err := tx.PutReadings(s.ID, benchReadings(s.ID, 20), nil); err != nil {
				return err
			}
			if err := tx.AppendAudit(access.Entry{Who: "p", Name: "=cmd()", Action: access.Record, Outcome: access.Done, Kind: "screen", Subject: s.ID, Team: "T"}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// must runs a command that has to go well.
func must(t *testing.T, args ...string) string {
	t.Helper()
	code, out, errs := call(t, "", args...)
	if code != 0 {
		t.Fatalf("%v: exit %d: %s", args, code, errs)
	}
	return out
}

// refused runs a command that must not go well, and looks at what it says.
func refused(t *testing.T, says string, args ...string) {
	t.Helper()
	if code, _, errs := call(t, "", args...); code != 1 || !strings.Contains(errs, says) {
		t.Errorf("%v: exit %d, %q, want %q", args, code, errs, says)
	}
}

// TestAnotherMachine carries an encrypted copy alone, and the key, to another folder, and restores it
// there: the same records are exported byte by byte, and it is served.
func TestAnotherMachine(t *testing.T) {
	db, here, there := keptFile(t), t.TempDir(), t.TempDir()
	key := filepath.Join(here, "key")
	recipient := strings.TrimSpace(must(t, "backup-key", key))
	before := must(t, "export", "--db", db)
	out := must(t, "backup", "--db", db, "--recipient", recipient, here)
	copied := filepath.Join(here, "evenhand-20260220T090000Z.db.age")
	if !strings.Contains(out, copied) || !strings.Contains(out, "encrypted") || !strings.Contains(out, "teams: 1; athletes: 2; screens: 2; readings: 40") {
		t.Errorf("the backup says %q", out)
	}
	for from, to := range map[string]string{copied: "copy.age", key: "key"} {
		b, err := os.ReadFile(from)
		if err == nil {
			err = os.WriteFile(filepath.Join(there, to), b, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, path := range []string{db, here} {
		if err := os.RemoveAll(path); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(there)
	if out := must(t, "restore", "copy.age", "--check", "--identity", "key"); !strings.Contains(out, "can be restored") {
		t.Errorf("the check says %q", out)
	}
	if out := must(t, "restore", "copy.age", "--to", "new.db", "--identity", "key"); !strings.Contains(out, "ended: 0 sessions") || !strings.Contains(out, "athletes who were erased") {
		t.Errorf("the restore says %q", out)
	}
	if after := must(t, "export", "--db", "new.db"); after != before {
		t.Errorf("the export is another one:\n%s\n%s", before, after)
	}
	if out := must(t, "doctor", "--db", "new.db"); strings.Contains(out, "wrong") {
		t.Errorf("the doctor says %s", out)
	}
	refused(t, "nothing is overwritten", "restore", "copy.age", "--to", "new.db", "--identity", "key")
	refused(t, "give the key", "restore", "copy.age", "--to", "other.db")
	refused(t, "name the new file", "restore", "copy.age")
	serveRestored(t)
}

// serveRestored serves new.db with copies on a schedule and asks whether it is ready.
func serveRestored(t *testing.T) {
	t.Helper()
	if err := os.Mkdir("copies", 0o700); err != nil {
		t.Fatal(err)
	}
	r, out := io.Pipe()
	w := &world{out: out, errs: io.Discard, now: time.Now, newID: newID, random: rand.Reader, log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, []string{"serve", "--db", "new.db", "--listen", "127.0.0.1:0", "--backup-dir", "copies", "--backup-keep", "1"}, w)
		_ = out.Close()
	}()
	lines := bufio.NewReader(r)
	line, err := lines.ReadString('\n')
	address, ok := strings.CutPrefix(strings.TrimSpace(line), "evenhand serves at ")
	if err != nil || !ok {
		t.Fatalf("the program says %q, %v", line, err)
	}
	go func() { _, _ = io.Copy(io.Discard, lines) }() // until it ends
	if out := must(t, "health", address); out != "ready\n" {
		t.Errorf("health says %q", out)
	}
	stop()
	if code := <-done; code != 0 {
		t.Errorf("serve ended with %d", code)
	}
}

func TestBackupCommands(t *testing.T) {
	db, dir := keptFile(t), t.TempDir()
	for _, args := range [][]string{{"backup", dir}, {"doctor"}, {"audit", "verify"}, {"audit", "export"}} {
		missing := filepath.Join(dir, "none.db")
		refused(t, "there is no database file", append(args, "--db", missing)...)
		if _, err := os.Stat(missing); err == nil {
			t.Errorf("%v made a file", args)
		}
	}
	refused(t, "is no recipient", "backup", "--db", db, "--recipient", "somebody", dir)
	refused(t, "leave one out", "backup", "--db", db, "--recipient", "age1", "--passphrase-file", db, dir)
	must(t, "backup", "--db", db, dir)
	refused(t, "nothing is overwritten", "backup", "--db", db, dir)
	phrase := filepath.Join(dir, "phrase")
	if err := os.WriteFile(phrase, []byte("an invented phrase\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	sealed := filepath.Join(dir, "sealed")
	must(t, "backup", "--db", keptFile(t), "--passphrase-file", phrase, sealed)
	must(t, "restore", sealed, "--check", "--passphrase-file", phrase)
	refused(t, "has no key in it", "restore", sealed, "--check", "--identity", phrase)
	refused(t, "there already", "restore", sealed, "--to", db, "--passphrase-file", phrase)
}

func TestDoctorCommand(t *testing.T) {
	db := keptFile(t)
	if out := must(t, "doctor", "--db", db); !strings.Contains(out, "audit       good") || !strings.Contains(out, "none was made yet") {
		t.Errorf("the doctor says\n%s", out)
	}
	var d keeping.Diagnosis
	if err := json.Unmarshal([]byte(must(t, "doctor", "--db", db, "--json")), &d); err != nil || d.File != db || len(d.Points) != 9 || !strings.HasPrefix(d.Head, "2:") {
		t.Errorf("%+v, %v", d, err)
	}
	cutOff(t, db)
	refused(t, "something is wrong with "+db, "doctor", "--db", db)
	if _, out, _ := call(t, "", "doctor", "--db", db); !strings.Contains(out, "audit       wrong") || !strings.Contains(out, "the audit ends with entry 2") {
		t.Errorf("the doctor says\n%s", out)
	}
}

// cutOff lets a backup know of an entry of the audit that is not there.
func cutOff(t *testing.T, db string) {
	t.Helper()
	st, err := store.Open(t.Context(), db, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	err = st.Write(t.Context(), func(tx *store.Tx) error {
		return tx.AddBackup(&store.Backup{ID: "b", At: time.Now(), Name: "b.db", AuditSeq: 9, AuditHash: "x"})
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestAuditCommands(t *testing.T) {
	db, dir := keptFile(t), t.TempDir()
	early := filepath.Join(dir, "early.db")
	must(t, "backup", "--db", db, early)
	out := must(t, "audit", "verify", "--db", db, "--backup", early)
	_, head, _ := strings.Cut(out, "last entry: ")
	head, _, _ = strings.Cut(head, "\n")
	if !strings.HasPrefix(out, "3 entries, ") || !strings.HasPrefix(head, "3:") {
		t.Errorf("verify says %q", out)
	}
	must(t, "audit", "verify", "--db", db, "--head", head)
	refused(t, "the head that was given knows entry 3", "audit", "verify", "--db", early, "--head", head)
	refused(t, "is not the one that the head that was given knows", "audit", "verify", "--db", db, "--head", "2:"+strings.Repeat("a", 64))
	for _, text := range []string{"x:y", "3", "0:" + head[2:], "3:abc"} {
		refused(t, "is no entry of the audit", "audit", "verify", "--db", db, "--head", text)
	}
	// The entries can be checked again by what was exported.
	var chain access.Chain
	dec := json.NewDecoder(strings.NewReader(must(t, "audit", "export", "--db", db)))
	n := 0
	for ; ; n++ {
		var e access.Entry
		if err := dec.Decode(&e); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if err := chain.Next(&e); err != nil {
			t.Error(err)
		}
	}
	if h := chain.Head(); n != 4 || h.Action != access.SeeAudit || h.Who != "local" || h.Via != "evenhand audit export" {
		t.Errorf("%d entries, the last one %+v", n, h)
	}
	rows, err := csv.NewReader(bytes.NewReader([]byte(must(t, "audit", "export", "--db", db, "--format", "csv")))).ReadAll()
	if err != nil || len(rows) != 6 || !slices.Equal(rows[1][:5], []string{"1", rows[1][1], "p", "'=cmd()", "record"}) {
		t.Errorf("%q, %v", rows, err)
	}
}
