// Package keeping looks after the file: copies while it is written to, copies on a schedule, encrypted
// copies, restoring one, and checking that all is well.
package keeping

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/store"
)

// World is what this package gets from outside: clock, ids, and a log that holds no names and no values.
type World struct {
	Now   func() time.Time
	NewID func() string
	Log   *slog.Logger
}

// scheduled acts when a schedule says so.
var scheduled = access.Person{ID: "schedule", Name: "schedule of backups"}

// note puts into the audit that somebody did something with the file as a whole.
func note(ctx context.Context, tx *store.Tx, who *access.Person, a access.Action, kind, subject string) error {
	r := access.RequestOf(ctx)
	return tx.AppendAudit(access.Entry{Who: who.ID, Name: who.Name, Action: a, Outcome: access.Done,
		Kind: kind, Subject: subject, Via: r.Via, Request: r.ID})
}

// EachEntry calls fn with every entry of the audit, the first one first, after it has put on record that
// who looked.
func EachEntry(ctx context.Context, st *store.Store, who *access.Person, fn func(*access.Entry) error) error {
	err := st.Write(ctx, func(tx *store.Tx) error { return note(ctx, tx, who, access.SeeAudit, "audit", "") })
	if err != nil {
		return err
	}
	return st.Read(ctx, func(tx *store.Tx) error { return tx.EachAudit(fn) })
}

// Head names an entry of the audit as it is printed and noted: its number and its hash.
func Head(e *access.Entry) string {
	if e == nil {
		return "empty"
	}
	return fmt.Sprintf("%d:%s", e.Seq, e.Hash)
}
