package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"

	"evenhand/internal/access"
)

// Checked is what Check found in a file.
type Checked struct {
	Bytes       int64
	Step, Knows int64    // of the schema: the file's, and the program's
	Damage      []string // what the engine says of damaged pages and indices, at most 100
	Loose       []string // references that lead nowhere, at most 100
	SecureErase bool     // whether writing to it overwrites what is deleted
	// What follows is only looked at in a file at the program's own step.
	Counts  []Count
	Audit   AuditChecked
	Backups []Backup // the newest first
	Plan    BackupPlan
}

// Count says how many rows a table has.
type Count struct {
	Table string
	Rows  int64
}

// Sound reports whether nothing is wrong with the file itself.
func (c *Checked) Sound() error {
	switch {
	case len(c.Damage) > 0:
		return fmt.Errorf("the file is damaged: %s", c.Damage[0])
	case len(c.Loose) > 0:
		return fmt.Errorf("%d references lead nowhere, such as: %s", len(c.Loose), c.Loose[0])
	case c.Audit.Fault != "":
		return fmt.Errorf("the audit was tampered with: %s", c.Audit.Fault)
	}
	return nil
}

// mostFaults is how many faults of one kind are told.
const mostFaults = 100

// Check reads the whole file at path and says what is wrong with it; nothing is changed. Returns
// ErrNewer and ErrForeign as Open does, and an error if there is no such file or it cannot be read.
// What is marked elsewhere must be in its audit.
func Check(ctx context.Context, path string, marks ...Mark) (_ *Checked, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("check: %w", err)
	}
	c := &Checked{Bytes: info.Size()}
	from := dsn(path, checkDSN)
	if _, err := os.Stat(path + "-wal"); err == nil {
		from += "&mode=ro" // or the last one who closes the file would move the log into it
	}
	db, err := sql.Open(driverName, from)
	if err != nil {
		return nil, fmt.Errorf("check: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	conn, err := db.Conn(ctx)
	if err != nil {
		if err = c.damage(err); err == nil {
			return c, nil
		}
		return nil, fmt.Errorf("check: %w", openError(err))
	}
	defer conn.Close() //nolint:errcheck // it goes back to the pool
	if err := c.schema(ctx, conn); err != nil {
		return nil, fmt.Errorf("check: %w", err)
	}
	for _, part := range []func(context.Context, *sql.Conn) error{c.pages, c.references, c.erasing} {
		if err := c.damage(part(ctx, conn)); err != nil {
			return nil, fmt.Errorf("check: %w", err)
		}
	}
	if c.Step == c.Knows && len(c.Damage) == 0 {
		if err := c.damage(c.contents(ctx, from, marks)); err != nil {
			return nil, fmt.Errorf("check: %w", err)
		}
	}
	return c, nil
}

// damage keeps an error that says that the file is damaged as what was found.
func (c *Checked) damage(err error) error {
	if err != nil && code(err)&0xff == codeCorrupt {
		c.Damage = append(c.Damage, err.Error())
		return nil
	}
	return err
}

func (c *Checked) schema(ctx context.Context, conn *sql.Conn) (err error) {
	if c.Knows, err = lastStep(migrations()); err != nil {
		return err
	}
	c.Step, err = version(ctx, conn)
	switch {
	case err != nil:
		return c.damage(err)
	case c.Step == 0:
		return ErrForeign // an empty file, too: nothing was ever kept in it
	case c.Step > c.Knows:
		return fmt.Errorf("%w (the file is at step %d, this program knows %d)", ErrNewer, c.Step, c.Knows)
	}
	return nil
}

func (c *Checked) pages(ctx context.Context, conn *sql.Conn) error {
	return lines(ctx, conn, fmt.Sprintf("PRAGMA integrity_check(%d)", mostFaults), func(scan func(...any) error) error {
		var line string
		err := scan(&line)
		if line != "ok" {
			c.Damage = append(c.Damage, line)
		}
		return err
	})
}

func (c *Checked) references(ctx context.Context, conn *sql.Conn) error {
	return lines(ctx, conn, "PRAGMA foreign_key_check", func(scan func(...any) error) error {
		var table, parent string
		var row sql.NullInt64
		var key int
		err := scan(&table, &row, &parent, &key)
		if len(c.Loose) < mostFaults {
			c.Loose = append(c.Loose, fmt.Sprintf("an entry of %s refers to one of %s that is not there", table, parent))
		}
		return err
	})
}

// erasing asks a connection that is set up as the writer's is, to nothing in particular.
func (c *Checked) erasing(ctx context.Context, _ *sql.Conn) (err error) {
	db, err := sql.Open(driverName, "file::memory:?"+writerDSN)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	return db.QueryRowContext(ctx, "PRAGMA secure_delete").Scan(&c.SecureErase)
}

// lines calls fn for every row of a query.
func lines(ctx context.Context, conn *sql.Conn, query string, fn func(scan func(...any) error) error) (err error) {
	rows, err := conn.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		if err := fn(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// counted are the tables whose sizes are told.
var counted = []string{"teams", "athletes", "screens", "readings", "days", "accounts", "audit"}

// contents reads what is in a file at the program's own step.
func (c *Checked) contents(ctx context.Context, from string, marks []Mark) (err error) {
	p, err := openPool(ctx, from, 1)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.close()) }()
	s := &Store{read: p}
	return s.Read(ctx, func(tx *Tx) (err error) {
		for _, table := range counted {
			n := Count{Table: table}
			if err := tx.sql.QueryRowContext(ctx, "SELECT count(*) FROM "+table).Scan(&n.Rows); err != nil { //nolint:gosec // of the list above
				return err
			}
			c.Counts = append(c.Counts, n)
		}
		if c.Backups, err = tx.Backups(); err != nil {
			return err
		}
		if c.Plan, err = tx.BackupPlan(); err != nil {
			return err
		}
		c.Audit, err = tx.CheckAudit(marks...)
		return err
	})
}

// AuditChecked is what was found in the audit. Fault says what does not fit and at which entry, empty if
// all does; Head is the last entry that fits.
type AuditChecked struct {
	Entries int64
	Head    *access.Entry
	Fault   string
}

// stopped ends a walk through the audit at its first fault.
var errStopped = errors.New("stopped")

// CheckAudit goes through the audit from its first entry: each must follow on the one before, and those
// that are marked, here and with every backup of this file, must be as they were marked.
func (tx *Tx) CheckAudit(marks ...Mark) (out AuditChecked, err error) {
	backups, err := tx.Backups()
	if err != nil {
		return out, err
	}
	known := map[int64][]Mark{}
	var last Mark
	note := func(m Mark) {
		known[m.Seq] = append(known[m.Seq], m)
		if m.Seq > last.Seq {
			last = m
		}
	}
	for i := range backups {
		note(backups[i].Mark())
	}
	for _, m := range marks {
		note(m)
	}
	var chain access.Chain
	err = tx.EachAudit(func(e *access.Entry) error {
		if err := chain.Next(e); err != nil {
			out.Fault = err.Error()
			return errStopped
		}
		for _, m := range known[e.Seq] {
			if m.Hash != e.Hash {
				out.Fault = fmt.Sprintf("entry %d is not the one that %s knows: the audit was written anew from there, or before", e.Seq, m.From)
				return errStopped
			}
		}
		out.Entries++
		return nil
	})
	out.Head = chain.Head()
	if errors.Is(err, errStopped) {
		return out, nil
	}
	if err == nil && last.Seq > out.Entries {
		out.Fault = fmt.Sprintf("the audit ends with entry %d, but %s knows entry %d: what came after was removed", out.Entries, last.From, last.Seq)
	}
	return out, err
}
