package keeping

import (
	"bytes"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"filippo.io/age"
	"github.com/pressly/goose/v3"

	"evenhand/internal/access"
	"evenhand/internal/store"
)

// TestRestore restores copies, encrypted and not, and looks at what is in the new file.
func TestRestore(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	lock, keyFile := testLock(t)
	key, err := NewKey(keyFile, "")
	if err != nil {
		t.Fatal(err)
	}
	phrase, err := age.NewScryptIdentity("correct horse battery staple")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		lock Lock
		key  Key
	}{"plain": {}, "recipient": {lock, key}, "passphrase": {cheap(t, "correct horse battery staple"), Key{[]age.Identity{phrase}}}} {
		t.Run(name, func(t *testing.T) {
			made, err := Backup(t.Context(), w, st, &access.Local, filepath.Join(t.TempDir(), "copy"), c.lock)
			if err != nil {
				t.Fatal(err)
			}
			b, err := os.ReadFile(made.Path)
			if err != nil || bytes.Contains(b, []byte("Athlete A")) == c.lock.Encrypts() || made.Encrypted != c.lock.Encrypts() {
				t.Errorf("whether the copy can be read is not as asked (%v)", err)
			}
			dir := t.TempDir()
			if got, err := Inspect(t.Context(), w, made.Path, dir, c.key); err != nil || Head(got.Head) != Head(made.Head) || len(files(t, dir)) != 0 {
				t.Errorf("%+v, %v; left are %v", got, err, files(t, dir))
			}
			to := filepath.Join(dir, "new.db")
			got, err := Restore(t.Context(), w, &access.Local, made.Path, to, c.key)
			if err != nil {
				t.Fatal(err)
			}
			if got.Encrypted != c.lock.Encrypts() || got.Migrated || Head(got.Head) != Head(made.Head) || !slices.Equal(got.Counts, made.Count) {
				t.Errorf("%+v", got)
			}
			if got := files(t, dir); !slices.Equal(got, []string{"new.db"}) {
				t.Errorf("the folder has %v", got)
			}
			if info, err := os.Stat(to); err != nil || info.Mode().Perm() != 0o600 {
				t.Errorf("%v, %v", info, err)
			}
			if names := athletes(t, to); !slices.Equal(names, []string{"Athlete A"}) {
				t.Errorf("it has %v", names)
			}
			if after, err := os.ReadFile(made.Path); err != nil || !bytes.Equal(after, b) {
				t.Errorf("restoring changed the copy (%v)", err)
			}
			checkNoted(t, to, made)
		})
	}
}

// checkNoted looks for the restore in the audit of the new file.
func checkNoted(t *testing.T, path string, made *Made) {
	t.Helper()
	st, err := store.Open(t.Context(), path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	list := audit(t, st)
	e := list[len(list)-1]
	if e.Seq != made.AuditSeq+1 || e.Action != access.Operate || e.Kind != "restore" || e.Subject != Head(made.Head) || e.Who != "local" {
		t.Errorf("the audit says %+v", e)
	}
	if err := st.Close(); err != nil {
		t.Error(err)
	}
}

// TestRestoreRefuses has everything wrong with a copy that can be, and a place that is taken: the
// folder stays as it was.
func TestRestoreRefuses(t *testing.T) {
	w, _ := testWorld(nil)
	st := newFile(t, w)
	lock, keyFile := testLock(t)
	_, otherFile := testLock(t)
	key, err1 := NewKey(keyFile, "")
	other, err2 := NewKey(otherFile, "")
	plain, err3 := Backup(t.Context(), w, st, &access.Local, filepath.Join(t.TempDir(), "plain"), Lock{})
	sealed, err4 := Backup(t.Context(), w, st, &access.Local, filepath.Join(t.TempDir(), "sealed"), lock)
	whole, err5 := os.ReadFile(sealed.Path)
	db, err6 := os.ReadFile(plain.Path)
	if err := errors.Join(err1, err2, err3, err4, err5, err6); err != nil {
		t.Fatal(err)
	}
	flipped := func(b []byte, at int) string {
		b = bytes.Clone(b)
		b[at] ^= 1
		return string(b)
	}
	shredded := bytes.Clone(db)
	copy(shredded[len(shredded)-4096:], bytes.Repeat([]byte{0xa5}, 4096))
	for _, c := range []struct {
		name, content string
		key           Key
		says          string
	}{
		{"encrypted, no key", string(whole), Key{}, "give the key"},
		{"another key", string(whole), other, "does not open this file"},
		{"a key for a plain file", string(db), key, "it was replaced"},
		{"a bit of the header", flipped(whole, 100), key, "sealed.x: "},
		{"a bit in the middle", flipped(whole, len(whole)/2), key, "changed or cut off"},
		{"the last bit", flipped(whole, len(whole)-1), key, "changed or cut off"},
		{"cut off", string(whole[:len(whole)/2]), key, "changed or cut off"},
		{"cut at a chunk", string(whole[:len(whole)-len(whole)%65552]), key, "changed or cut off"},
		{"longer", string(whole) + "x", key, "changed or cut off"},
		{"empty", "", Key{}, "something else"},
		{"text", strings.Repeat("no database\n", 100), Key{}, "something else"},
		{"a page", string(shredded), Key{}, "damaged"},
	} {
		t.Run(c.name, func(t *testing.T) {
			from, dir := written(t, "sealed.x", c.content), t.TempDir()
			_, err := Restore(t.Context(), w, &access.Local, from, filepath.Join(dir, "new.db"), c.key)
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want %q", err, c.says)
			}
			if _, err := Inspect(t.Context(), w, from, dir, c.key); err == nil {
				t.Error("it is said to be sound")
			}
			if got := files(t, dir); len(got) != 0 {
				t.Errorf("%v stayed behind", got)
			}
		})
	}
	if _, err := Restore(t.Context(), w, &access.Local, filepath.Join(t.TempDir(), "none"), filepath.Join(t.TempDir(), "new.db"), Key{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no copy: %v", err)
	}
	head := store.Mark{Seq: plain.AuditSeq + 1, Hash: "x", From: "the head given"}
	if _, err := Inspect(t.Context(), w, plain.Path, t.TempDir(), Key{}, head); err == nil || !strings.Contains(err.Error(), "the head given knows entry 2") {
		t.Errorf("a copy that is too old: %v", err)
	}
	for _, name := range []string{"new.db", "new.db-wal", "new.db-shm", "new.db-journal"} {
		to := filepath.Join(filepath.Dir(written(t, name, "precious")), "new.db")
		if _, err := Restore(t.Context(), w, &access.Local, plain.Path, to, Key{}); err == nil || !strings.Contains(err.Error(), name+" is there already") {
			t.Errorf("beside %s: %v", name, err)
		}
	}
}

// TestRestoreOlder restores a file from before there was an audit, made by the steps that were released
// then, and refuses a newer one.
func TestRestoreOlder(t *testing.T) {
	w, _ := testWorld(nil)
	from := filepath.Join(t.TempDir(), "older")
	raw(t, from, func(db *sql.DB) error {
		p, err := goose.NewProvider(goose.DialectSQLite3, db, os.DirFS(filepath.Join("..", "store", "migrations", "sqlite")))
		if err != nil {
			return err
		}
		if _, err := p.UpTo(t.Context(), 3); err != nil {
			return err
		}
		_, err = db.ExecContext(t.Context(), "INSERT INTO teams (id, name, sport, revision, changed) VALUES ('T', 'Team T', 'handball', 1, 1)")
		return err
	})
	before, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "new.db")
	got, err := Restore(t.Context(), w, &access.Local, from, to, Key{})
	if err != nil || !got.Migrated || got.Step != 3 || got.Head != nil || !slices.Contains(got.Counts, store.Count{Table: "teams", Rows: 1}) {
		t.Fatalf("%+v, %v", got, err)
	}
	c, err := store.Check(t.Context(), to)
	if err != nil || c.Sound() != nil || c.Step != c.Knows || c.Audit.Entries != 1 {
		t.Errorf("%+v, %v", c, err)
	}
	if after, err := os.ReadFile(from); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the copy was changed: %v", err)
	}
	raw(t, from, func(db *sql.DB) error {
		_, err := db.ExecContext(t.Context(), "INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)")
		return err
	})
	if _, err := Restore(t.Context(), w, &access.Local, from, to+"2", Key{}); !errors.Is(err, store.ErrNewer) {
		t.Errorf("a newer copy: %v", err)
	}
}

// raw writes to a file without the store.
func raw(t *testing.T, path string, fn func(*sql.DB) error) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(fn(db), db.Close()); err != nil {
		t.Fatal(err)
	}
}
