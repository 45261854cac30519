package keeping

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"evenhand/internal/access"
	"evenhand/internal/store"
)

// Restored is what was found in a copy.
type Restored struct {
	Encrypted bool
	Step      int64 // of the schema that the copy was made at
	Migrated  bool  // whether it was brought to this program's
	Counts    []store.Count
	Head      *access.Entry // the last entry of the audit; nil if there is none
	Ended     store.Ended
}

// Inspect looks whether the copy at file can be restored, and what is in it. It is unpacked in a private
// folder in dir, which is removed.
func Inspect(ctx context.Context, w *World, file, dir string, key Key, marks ...store.Mark) (out *Restored, err error) {
	work, remove, err := workFolder(dir, w.Now())
	if err != nil {
		return nil, err
	}
	defer remove(&err)
	out, st, err := unpack(ctx, w, file, filepath.Join(work, "copy.db"), &key, marks)
	if err != nil {
		return nil, err
	}
	return out, st.Close()
}

// Restore makes the new database file to from the copy at file. All that could be wrong with the copy is
// looked at before the file gets its name; nothing is overwritten. In the restored file nobody is signed
// in, and no link or token works: one that was ended after the copy was made would work again.
func Restore(ctx context.Context, w *World, who *access.Person, file, to string, key Key, marks ...store.Mark) (out *Restored, err error) {
	if err := taken(to); err != nil {
		return nil, err
	}
	work, remove, err := workFolder(filepath.Dir(to), w.Now())
	if err != nil {
		return nil, err
	}
	defer remove(&err)
	path := filepath.Join(work, "copy.db")
	out, st, err := unpack(ctx, w, file, path, &key, marks)
	if err != nil {
		return nil, err
	}
	err = st.Write(ctx, func(tx *store.Tx) (err error) {
		if out.Ended, err = tx.EndAccess(); err != nil {
			return err
		}
		return note(ctx, tx, who, access.Operate, "restore", Head(out.Head))
	})
	if err = errors.Join(err, st.Close()); err != nil { // closing moves what is in the log to the file
		return nil, err
	}
	if err := taken(path + "-wal"); err != nil {
		return nil, errors.New("another program opened the copy while it was restored")
	}
	return out, publish(path, to)
}

// unpack writes the copy at file, decrypted, to path, checks it, and opens it, which brings it to this
// program's schema.
func unpack(ctx context.Context, w *World, file, path string, key *Key, marks []store.Mark) (*Restored, *store.Store, error) {
	encrypted, err := decrypt(file, path, key)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", file, err)
	}
	c, err := store.Check(ctx, path, marks...)
	if err == nil {
		err = c.Sound()
	}
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", file, err)
	}
	out := &Restored{Encrypted: encrypted, Step: c.Step, Migrated: c.Step != c.Knows, Counts: c.Counts, Head: c.Audit.Head}
	st, err := store.Open(ctx, path, store.Options{Now: w.Now})
	if err != nil || !out.Migrated {
		return out, st, err
	}
	if c, err = store.Check(ctx, path, marks...); err == nil {
		err = c.Sound()
	}
	if err != nil {
		return nil, nil, errors.Join(fmt.Errorf("%s, brought to this program's schema: %w", file, err), st.Close())
	}
	out.Counts, out.Head = c.Counts, c.Audit.Head
	return out, st, nil
}

// decrypt copies file to the new file at path, decrypted if it is encrypted.
func decrypt(file, path string, key *Key) (encrypted bool, err error) {
	in, err := os.Open(file)
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	r, encrypted, err := key.open(in)
	if err != nil {
		return encrypted, err
	}
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return encrypted, err
	}
	if _, err = io.Copy(out, r); err != nil && encrypted && !errors.As(err, new(*fs.PathError)) { // which is of the disk
		err = fmt.Errorf("the file was changed or cut off after it was made: %w", err)
	}
	return encrypted, errors.Join(err, out.Close())
}
