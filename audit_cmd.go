package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strconv"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
	"evenhand/internal/keeping"
	"evenhand/internal/store"
)

type auditCmd struct {
	Verify auditVerifyCmd `cmd:"" help:"Check that the audit is as it was written: no entry changed, left out, put in, or cut off at the end."`
	Export auditExportCmd `cmd:"" help:"Write the audit, the first entry first."`
}

type auditVerifyCmd struct {
	DB     string   `help:"Database file; it may be in use." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	Head   []string `help:"An entry that was noted before, as evenhand backup and this command print it; shows if the audit was cut off or written anew since." placeholder:"NUMBER:HASH"`
	Backup []string `help:"A copy of the file from before, whose last entry must be in the audit." placeholder:"FILE"`
	keyFlags
}

// Run checks the audit. Nothing is changed.
func (c *auditVerifyCmd) Run(ctx context.Context, w *world) error {
	if err := existing(c.DB); err != nil {
		return err
	}
	marks, err := marksOf(c.Head)
	if err != nil {
		return err
	}
	for _, file := range c.Backup {
		key, err := c.key()
		if err != nil {
			return err
		}
		got, err := keeping.Inspect(ctx, w.keeps(), file, os.TempDir(), key)
		if err != nil {
			return err
		}
		if got.Head != nil {
			marks = append(marks, store.Mark{Seq: got.Head.Seq, Hash: got.Head.Hash, From: "the copy " + file})
		}
	}
	got, err := store.Check(ctx, c.DB, marks...)
	switch {
	case err != nil:
		return err
	case got.Audit.Fault != "":
		return fmt.Errorf("the audit is not as it was written: %s", got.Audit.Fault)
	case got.Step != got.Knows || len(got.Damage) > 0:
		return errors.New("the audit could not be checked: run evenhand doctor")
	}
	_, err = fmt.Fprintf(w.out, "%d entries, each follows on the one before\nlast entry: %s\nnote it somewhere else: with --head it shows later if the audit was cut off or written anew\n",
		got.Audit.Entries, keeping.Head(got.Audit.Head))
	return err
}

type auditExportCmd struct {
	DB     string `help:"Database file; it may be in use." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	Format string `help:"json: one entry a line, from which the hashes can be computed again; or csv." default:"json" enum:"json,csv"`
}

// Run writes the audit. That it was exported is its last entry.
func (c *auditExportCmd) Run(ctx context.Context, w *world) (err error) {
	if err := existing(c.DB); err != nil {
		return err
	}
	st, err := store.Open(ctx, c.DB, store.Options{Now: w.now})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	ctx = access.WithRequest(ctx, access.Request{Via: "evenhand audit export"})
	if c.Format == "json" {
		enc := json.NewEncoder(w.out)
		enc.SetEscapeHTML(false)
		return keeping.EachEntry(ctx, st, &access.Local, func(e *access.Entry) error { return enc.Encode(e) })
	}
	out := csv.NewWriter(w.out)
	err = out.Write([]string{"seq", "at", "who", "name", "action", "outcome", "kind", "subject", "team", "via", "request", "prev", "hash"})
	if err != nil {
		return err
	}
	err = keeping.EachEntry(ctx, st, &access.Local, func(e *access.Entry) error {
		row := []string{strconv.FormatInt(e.Seq, 10), e.At.UTC().Format(time.RFC3339Nano), e.Who, e.Name, string(e.Action), string(e.Outcome),
			e.Kind, e.Subject, e.Team, e.Via, e.Request, e.Prev, e.Hash}
		for i := range row {
			row[i] = exchange.CSVText(row[i])
		}
		return out.Write(row)
	})
	out.Flush()
	return errors.Join(err, out.Error())
}
