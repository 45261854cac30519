package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"evenhand/internal/access"
	"evenhand/internal/keeping"
	"evenhand/internal/store"
)

// keeps is what keeping gets from outside.
func (w *world) keeps() *keeping.World {
	return &keeping.World{Now: w.now, NewID: w.newID, Log: w.log}
}

// existing fails if there is no file: opening would make one.
func existing(db string) error {
	if _, err := os.Stat(db); err != nil {
		return fmt.Errorf("there is no database file %s: name one with --db", db)
	}
	return nil
}

type backupCmd struct {
	Dest           string   `arg:"" help:"New file, or a folder, in which the file is named by the time." placeholder:"DEST"`
	DB             string   `help:"Database file; it may be in use." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	Recipient      []string `help:"Encrypt to this recipient, age1…, as evenhand backup-key prints it; may be repeated." placeholder:"RECIPIENT"`
	PassphraseFile string   `help:"Encrypt by the passphrase that is the first line of this file." placeholder:"FILE"`
}

// Run makes a copy of a database file.
func (c *backupCmd) Run(ctx context.Context, w *world) (err error) {
	if err := existing(c.DB); err != nil {
		return err
	}
	lock, err := keeping.NewLock(c.Recipient, c.PassphraseFile)
	if err != nil {
		return err
	}
	st, err := store.Open(ctx, c.DB, store.Options{Now: w.now})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	ctx = access.WithRequest(ctx, access.Request{Via: "evenhand backup"})
	made, err := keeping.Backup(ctx, w.keeps(), st, &access.Local, c.Dest, lock)
	if err != nil {
		return err
	}
	how := "not encrypted: whoever has it can read it"
	if made.Encrypted {
		how = "encrypted"
	}
	_, err = fmt.Fprintf(w.out, "%s: %d bytes, checked, %s\n%s", made.Path, made.Bytes, how, contentsOf(made.Count, made.Head))
	return err
}

// contentsOf says what is in a file.
func contentsOf(counts []store.Count, head *access.Entry) string {
	var parts []string
	for _, n := range counts {
		parts = append(parts, fmt.Sprintf("%s: %d", n.Table, n.Rows))
	}
	out := strings.Join(parts, "; ")
	if head != nil {
		out += fmt.Sprintf("\nlast entry of the audit: %s, of %s", keeping.Head(head), head.At.UTC().Format("2006-01-02 15:04:05 UTC"))
	}
	return out + "\n"
}

type backupKeyCmd struct {
	File string `arg:"" help:"New file for the key. Keep it away from the copies, and keep a second one: without it no copy can be opened." placeholder:"FILE"`
}

// Run makes a key that opens encrypted copies.
func (c *backupKeyCmd) Run(w *world) error {
	recipient, err := keeping.NewKeyFile(c.File, w.now())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.out, "%s\n", recipient)
	return err
}

// keyFlags say what opens an encrypted copy.
type keyFlags struct {
	Identity       string `help:"File with the key that opens the copy." placeholder:"FILE"`
	PassphraseFile string `help:"File whose first line is the passphrase that opens the copy." placeholder:"FILE"`
}

func (k *keyFlags) key() (keeping.Key, error) { return keeping.NewKey(k.Identity, k.PassphraseFile) }

type restoreCmd struct {
	File  string   `arg:"" help:"Copy, as evenhand backup or a schedule made it." placeholder:"FILE"`
	To    string   `help:"New database file; nothing is overwritten." placeholder:"FILE"`
	Check bool     `help:"Only look whether the copy can be restored, and what is in it."`
	Head  []string `help:"An entry of the audit that must be in the copy, as evenhand backup printed it." placeholder:"NUMBER:HASH"`
	keyFlags
}

// Run restores a copy to a new file.
func (c *restoreCmd) Run(ctx context.Context, w *world) error {
	if (c.To == "") != c.Check {
		return errors.New("name the new file with --to, or only look with --check")
	}
	key, err := c.key()
	if err != nil {
		return err
	}
	marks, err := marksOf(c.Head)
	if err != nil {
		return err
	}
	if c.Check {
		got, err := keeping.Inspect(ctx, w.keeps(), c.File, os.TempDir(), key, marks...)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(w.out, "%s is whole and can be restored\n%s", c.File, contentsOf(got.Counts, got.Head))
		return err
	}
	ctx = access.WithRequest(ctx, access.Request{Via: "evenhand restore"})
	got, err := keeping.Restore(ctx, w.keeps(), &access.Local, c.File, c.To, key, marks...)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.out, "%s is restored from %s\n%sended: %d sessions, %d links, %d tokens\n%s", c.To, filepath.Base(c.File), contentsOf(got.Counts, got.Head),
		got.Ended.Sessions, got.Ended.Links, got.Ended.Tokens, afterRestore)
	return err
}

// afterRestore is what nobody but people can know.
const afterRestore = `What was done after this copy was made is not in it. Do these again if they were done since:
  accounts that were disabled, roles that were taken away, passwords and second factors that were changed
  consents that were withdrawn
  athletes who were erased
`

// marksOf reads places in the audit, as they are printed: number:hash.
func marksOf(list []string) (out []store.Mark, err error) {
	for _, text := range list {
		number, hash, ok := strings.Cut(strings.TrimSpace(text), ":")
		seq, err := strconv.ParseInt(number, 10, 64)
		if !ok || err != nil || seq < 1 || len(hash) != 64 {
			return nil, fmt.Errorf("%q is no entry of the audit: it looks like 12:3b9f…, a number and a hash of 64 signs", text)
		}
		out = append(out, store.Mark{Seq: seq, Hash: strings.ToLower(hash), From: "the head that was given"})
	}
	return out, nil
}

// table writes rows of columns that are separated by tabs.
func (w *world) table(rows []string) error {
	t := tabwriter.NewWriter(w.out, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		_, _ = fmt.Fprintln(t, row) // Flush gives the error
	}
	return t.Flush()
}
