package keeping

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// TestBackup makes a copy in a folder and one by name, and looks at what is on record of them.
func TestBackup(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	dir := t.TempDir()
	made, err := Backup(t.Context(), w, st, &access.Local, dir, Lock{})
	if err != nil {
		t.Fatal(err)
	}
	if got := files(t, dir); !slices.Equal(got, []string{"evenhand-20260210T080000Z.db"}) {
		t.Errorf("the folder has %v", got)
	}
	info, err := os.Stat(made.Path)
	if err != nil || info.Mode().Perm() != 0o600 || info.Size() != made.Bytes {
		t.Errorf("%v, %v; it is said to have %d bytes", info, err, made.Bytes)
	}
	if names := athletes(t, made.Path); !slices.Equal(names, []string{"Athlete A"}) {
		t.Errorf("the copy has %v", names)
	}
	head := audit(t, st)[0]
	want := store.Backup{ID: "id-1", At: start, Name: "evenhand-20260210T080000Z.db", Bytes: info.Size(), AuditSeq: 1, AuditHash: head.Hash}
	if made.Backup != want || Head(made.Head) != "1:"+head.Hash {
		t.Errorf("made is %+v, want %+v", made.Backup, want)
	}
	if e := audit(t, st)[1]; e.Action != access.Operate || e.Kind != "backup" || e.Subject != "id-1" || e.Who != "local" || e.Outcome != access.Done {
		t.Errorf("the audit says %+v", e)
	}
	named, err := Backup(t.Context(), w, st, &access.Local, filepath.Join(dir, "before the season.db"), Lock{})
	if err != nil || named.Name != "before the season.db" || named.AuditSeq != 2 {
		t.Errorf("%+v, %v", named, err)
	}
	for _, path := range []string{dir, named.Path} { // the clock stands still, so the name is the same
		if _, err := Backup(t.Context(), w, st, &access.Local, path, Lock{}); err == nil || !strings.Contains(err.Error(), "nothing is overwritten") {
			t.Errorf("a copy over another one returned %v", err)
		}
	}
	if n := len(audit(t, st)); n != 3 {
		t.Errorf("%d entries in the audit, want 3", n)
	}
}

// TestBackupThatFails leaves the folder and the file as they were.
func TestBackupThatFails(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	dir := t.TempDir()
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	lock, _ := testLock(t)
	if _, err := Backup(t.Context(), w, st, &access.Local, filepath.Join(dir, "missing")+"/", Lock{}); err == nil || !strings.Contains(err.Error(), "there is no folder") {
		t.Errorf("%v", err)
	}
	for _, l := range []Lock{{}, lock} {
		if _, err := Backup(gone, w, st, &access.Local, dir, l); !errors.Is(err, context.Canceled) {
			t.Errorf("%v", err)
		}
		if _, err := Backup(t.Context(), w, st, &access.Local, filepath.Join(dir, "missing", "x.db"), l); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%v", err)
		}
	}
	if got := files(t, dir); len(got) != 0 {
		t.Errorf("%v stayed behind", got)
	}
	if got := files(t, filepath.Dir(st.Path())); slices.ContainsFunc(got, func(n string) bool { return strings.HasPrefix(n, ".") }) {
		t.Errorf("beside the file stayed %v", got)
	}
	if n := len(audit(t, st)); n != 1 {
		t.Errorf("%d entries in the audit, want 1", n)
	}
}

// TestBackupOfDamage does not pass on a copy that is not sound.
func TestBackupOfDamage(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	for i := range 5 {
		add(t, st, "B"+string(rune('0'+i)))
	}
	tamper(t, st, func(tx *store.Tx) error {
		return tx.AddBackup(&store.Backup{ID: "b", Name: "b.db", AuditSeq: 2, AuditHash: "another"})
	})
	dir := t.TempDir()
	if _, err := Backup(t.Context(), w, st, &access.Local, dir, Lock{}); err == nil || !strings.Contains(err.Error(), "entry 2 is not the one that the backup b.db knows") {
		t.Errorf("%v", err)
	}
	if got := files(t, dir); len(got) != 0 {
		t.Errorf("%v stayed behind", got)
	}
}

// tamper writes to a file.
func tamper(t *testing.T, st *store.Store, fn func(*store.Tx) error) {
	t.Helper()
	if err := st.Write(t.Context(), fn); err != nil {
		t.Fatal(err)
	}
}

// TestLeftovers has an earlier program been killed while it made copies: what it left is removed a day
// later, and nothing else is.
func TestLeftovers(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	dir := filepath.Join(t.TempDir(), "a [b]* c")
	old := start.Add(-staleAfter - time.Minute)
	for name, at := range map[string]time.Time{workPrefix + "old": old, workPrefix + "new": start, ".other": old, "evenhand-unfinished-x": old} {
		if err := errors.Join(os.MkdirAll(filepath.Join(dir, name, "in"), 0o700), os.Chtimes(filepath.Join(dir, name), at, at)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := Backup(t.Context(), w, st, &access.Local, filepath.Join(dir, "x.db"), Lock{}); err != nil {
		t.Fatal(err)
	}
	if got := files(t, dir); !slices.Equal(got, []string{workPrefix + "new", ".other", "evenhand-unfinished-x", "x.db"}) && len(got) != 4 {
		t.Errorf("the folder has %v", got)
	}
	if _, err := os.Stat(filepath.Join(dir, workPrefix+"old")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("what was left is still there: %v", err)
	}
}

// testLock is a key file of its own, and the lock to it.
func testLock(t *testing.T) (Lock, string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "key")
	recipient, err := NewKeyFile(file, start)
	if err != nil {
		t.Fatal(err)
	}
	lock, err := NewLock([]string{recipient}, "")
	if err != nil {
		t.Fatal(err)
	}
	return lock, file
}

// cheap is a lock by passphrase that takes no second to compute.
func cheap(t *testing.T, phrase string) Lock {
	t.Helper()
	r, err := age.NewScryptRecipient(phrase)
	if err != nil {
		t.Fatal(err)
	}
	r.SetWorkFactor(4)
	return Lock{recipients: []age.Recipient{r}}
}

func TestLockAndKey(t *testing.T) {
	phrase := "correct horse battery staple"
	_, keyFile := testLock(t)
	if info, err := os.Stat(keyFile); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key may be read by others: %v, %v", info, err)
	}
	if _, err := NewKeyFile(keyFile, start); !errors.Is(err, os.ErrExist) {
		t.Errorf("a key over a key: %v", err)
	}
	long, short := written(t, "long", phrase+"\r\nsecond line\n"), written(t, "short", "too short\n")
	if l, err := NewLock(nil, ""); err != nil || l.Encrypts() {
		t.Errorf("a lock to nobody encrypts: %v", err)
	}
	if got, err := readPassphrase(long); err != nil || got != phrase {
		t.Errorf("the passphrase is %q, %v", got, err)
	}
	for name, fn := range map[string]func() error{
		"too short":    func() error { _, err := NewLock(nil, short); return err },
		"no file":      func() error { _, err := NewLock(nil, short+"x"); return err },
		"no recipient": func() error { _, err := NewLock([]string{"age1abc"}, ""); return err },
		"a key as recipient": func() error {
			b, _ := os.ReadFile(keyFile)
			_, err := NewLock([]string{strings.Split(string(b), "\n")[2]}, "")
			return err
		},
		"both":          func() error { _, err := NewLock([]string{"age1abc"}, long); return err },
		"no key":        func() error { _, err := NewKey(short, ""); return err },
		"no key file":   func() error { _, err := NewKey(short+"x", ""); return err },
		"key too short": func() error { _, err := NewKey("", short); return err },
	} {
		if err := fn(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := NewKey(keyFile, long); err != nil {
		t.Error(err)
	}
}

// TestFullDisk backs up to a disk that is full, as only the administrator of a machine can make one.
func TestFullDisk(t *testing.T) {
	disk, ok := smallDisk(t, 300<<10)
	if !ok {
		t.Log("no disk could be made: this user may not mount one")
		return
	}
	w, _ := testWorld(nil)
	st := newFile(t, w)
	lock, _ := testLock(t)
	for _, l := range []Lock{{}, lock} {
		_, err := Backup(t.Context(), w, st, &access.Local, disk, l)
		if err == nil || !l.Encrypts() && !screen.IsCode(err, screen.Full) {
			t.Errorf("a copy to a full disk: %v", err)
		}
		if got := files(t, disk); len(got) != 0 {
			t.Errorf("%v stayed behind", got)
		}
	}
	if n := len(audit(t, st)); n != 1 {
		t.Errorf("%d entries in the audit, want 1", n)
	}
	add(t, st, "B")
}
