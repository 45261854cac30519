package keeping

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/store"
)

// The name of a copy in a folder says when it was made, in UTC.
const (
	namePrefix = "evenhand-"
	nameTime   = "20060102T150405Z"
	nameEnd    = ".db"
	sealedEnd  = ".age"
)

// copyName is the name of a copy that is made at a moment.
func copyName(at time.Time, sealed bool) string {
	name := namePrefix + at.UTC().Format(nameTime) + nameEnd
	if sealed {
		name += sealedEnd
	}
	return name
}

// Made is a copy that was made.
type Made struct {
	store.Backup
	Path  string
	Head  *access.Entry // the last entry of the audit in it; nil if there is none
	Count []store.Count
}

// Backup writes a copy of the file that st has open to dest, a new file or a folder, while st and other
// programs go on writing. The copy is checked before it gets its name, and may be read by its owner
// only; it is put on record in the file and its audit. If it could not be put on record, both the copy
// and an error are returned; otherwise an error means that there is no copy.
func Backup(ctx context.Context, w *World, st *store.Store, who *access.Person, dest string, lock Lock) (*Made, error) {
	at := w.Now().UTC()
	path := dest
	if info, err := os.Stat(dest); err == nil && info.IsDir() {
		path = filepath.Join(dest, copyName(at, lock.Encrypts()))
	} else if dest == "" || os.IsPathSeparator(dest[len(dest)-1]) {
		return nil, fmt.Errorf("there is no folder %q for the copy", dest)
	}
	made, err := write(ctx, st, path, at, &lock)
	if err != nil {
		return nil, err
	}
	made.ID = w.NewID()
	err = st.Write(ctx, func(tx *store.Tx) error {
		if err := tx.AddBackup(&made.Backup); err != nil {
			return err
		}
		return note(ctx, tx, who, access.Operate, "backup", made.ID)
	})
	if err != nil {
		return made, fmt.Errorf("the copy %s is whole, but could not be put on record: %w", path, err)
	}
	return made, nil
}

// write makes and checks the copy at path.
func write(ctx context.Context, st *store.Store, path string, at time.Time, lock *Lock) (made *Made, err error) {
	if err := taken(path); err != nil {
		return nil, err
	}
	work, remove, err := workFolder(filepath.Dir(path), at)
	if err != nil {
		return nil, fmt.Errorf("the folder of the copy: %w", err)
	}
	defer remove(&err)
	plain := filepath.Join(work, "copy.db")
	if lock.Encrypts() {
		// What is not encrypted yet stays where the file itself is, which is as private.
		near, removeNear, err1 := workFolder(filepath.Dir(st.Path()), at)
		if err1 != nil {
			return nil, err1
		}
		defer removeNear(&err)
		plain = filepath.Join(near, "copy.db")
	}
	made = &Made{Backup: store.Backup{At: at, Name: filepath.Base(path), Encrypted: lock.Encrypts()}, Path: path}
	if err := made.copyTo(ctx, st, plain); err != nil {
		return nil, err
	}
	final := plain
	if lock.Encrypts() {
		final = filepath.Join(work, "copy.age")
		if err := lock.seal(plain, final); err != nil {
			return nil, fmt.Errorf("encrypt the copy: %w", err)
		}
	}
	info, err := os.Stat(final)
	if err != nil {
		return nil, err
	}
	made.Bytes = info.Size()
	return made, publish(final, path)
}

// copyTo makes a copy and looks whether it is sound.
func (m *Made) copyTo(ctx context.Context, st *store.Store, path string) error {
	if err := st.Backup(ctx, path); err != nil {
		return err
	}
	c, err := store.Check(ctx, path)
	if err != nil {
		return fmt.Errorf("check the copy: %w", err)
	}
	if err := c.Sound(); err != nil {
		return fmt.Errorf("the copy is not sound, and so the file may not be: %w; run `evenhand doctor`", err)
	}
	m.Count = c.Counts
	if m.Head = c.Audit.Head; m.Head != nil {
		m.AuditSeq, m.AuditHash = m.Head.Seq, m.Head.Hash
	}
	return nil
}
