package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Backup writes a whole, consistent copy of the database, as it is when Backup begins, to a new file at
// path. Who writes meanwhile does not wait for it. The copy may be read by its owner only; it is on the
// disk when Backup returns nil, and there is none if it returns an error. It fails if there is already
// something at path.
func (s *Store) Backup(ctx context.Context, path string) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600) // the copy is as private as the file
	if err != nil {
		return fmt.Errorf("back up the database: %w", err)
	}
	defer func() {
		// The engine does not wait for the disk when it writes a copy.
		if err == nil {
			err = f.Sync()
		}
		if err = errors.Join(err, f.Close()); err != nil {
			err = errors.Join(fmt.Errorf("back up the database: %w", noRoom(err)), os.Remove(path))
		}
	}()
	to, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	db, err := sql.Open(driverName, dsn(s.path, copyDSN))
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", dsn(to, "")) // as a URI: a path could begin like one
	return errors.Join(err, db.Close())
}

// Scrub makes sure that nothing of what was deleted is left in the file or its log. What is deleted is
// overwritten as it is deleted; older versions of evenhand did not, so the file is written anew, which
// writers wait for. Old pages in the log are dropped. It waits for running transactions.
func (s *Store) Scrub(ctx context.Context) error {
	conn, err := s.write.sql.Conn(ctx)
	if err != nil {
		return fmt.Errorf("scrub: %w", err)
	}
	defer conn.Close() //nolint:errcheck // it goes back to the pool
	// The copy that the file is written anew from holds health data: it stays in memory.
	if _, err := conn.ExecContext(ctx, "PRAGMA temp_store = memory"); err != nil {
		return fmt.Errorf("scrub: %w", err)
	}
	if _, err := conn.ExecContext(ctx, "VACUUM"); err != nil {
		return fmt.Errorf("scrub: %w", noRoom(err))
	}
	return dropLog(ctx, conn)
}

// ErrReading says that the log could not be emptied, since somebody was reading what is in it.
var ErrReading = errors.New("the log could not be emptied: another program, or a long transaction, reads from it; try again")

// dropLog moves what is in the log to the file and cuts the log to nothing.
func dropLog(ctx context.Context, conn *sql.Conn) error {
	var busy, pages, moved int
	if err := conn.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &pages, &moved); err != nil {
		return fmt.Errorf("empty the log: %w", noRoom(err))
	}
	if busy != 0 {
		return ErrReading
	}
	return nil
}
