package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"strings"

	"github.com/pressly/goose/v3"
)

var (
	// ErrNewer says that the file was made by a newer version of the program.
	ErrNewer = errors.New("the file was made by a newer version of evenhand; use that version, or a copy of the file from before")
	// ErrForeign says that the file is not one of evenhand's.
	ErrForeign = errors.New("the file holds something else than an evenhand database")
)

//go:embed migrations/sqlite/*.sql
var migrationFiles embed.FS

// migrations are the embedded steps from an empty file to this program's schema. A step that was
// released is never edited.
func migrations() fs.FS {
	sub, err := fs.Sub(migrationFiles, "migrations/sqlite")
	if err != nil {
		panic(err) // the directory is embedded above
	}
	return sub
}

// migrate brings the file to the last of the steps. All pending steps run in one transaction: the
// file ends up at the last step, or exactly as it was, also when a later one of several steps fails.
// A file that is up to date costs one look-up and does not start goose.
func migrate(ctx context.Context, file string, steps fs.FS) (err error) {
	db, err := sql.Open(driverName, dsn(file, migrateDSN))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	target, err := lastStep(steps)
	if err != nil {
		return err
	}
	conn, err := db.Conn(ctx)
	if err != nil {
		return openError(err)
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	have, err := version(ctx, conn)
	if err != nil || have == target {
		return err
	}
	if have > target {
		return fmt.Errorf("%w (the file is at step %d, this program knows %d)", ErrNewer, have, target)
	}
	if _, err := conn.ExecContext(ctx, "BEGIN EXCLUSIVE"); err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	// Once begun, the transaction ends whatever becomes of ctx.
	end := context.WithoutCancel(ctx)
	if err := runSteps(ctx, conn, steps); err != nil {
		_, undo := conn.ExecContext(end, "ROLLBACK")
		return errors.Join(fmt.Errorf("migrate from step %d to %d: %w", have, target, err), undo)
	}
	if _, err := conn.ExecContext(end, "COMMIT"); err != nil {
		_, undo := conn.ExecContext(end, "ROLLBACK")
		return errors.Join(fmt.Errorf("migrate: %w", err), undo)
	}
	return nil
}

// version is the step that the file is at: 0 for a new file.
func version(ctx context.Context, conn *sql.Conn) (int64, error) {
	var versioned, tables int
	err := conn.QueryRowContext(ctx,
		"SELECT count(*) FILTER (WHERE name = 'goose_db_version'), count(*) FROM sqlite_schema WHERE type = 'table'").
		Scan(&versioned, &tables)
	if err != nil {
		return 0, openError(err)
	}
	if versioned == 0 {
		if tables > 0 {
			return 0, ErrForeign
		}
		return 0, nil
	}
	var v sql.NullInt64
	err = conn.QueryRowContext(ctx, "SELECT max(version_id) FROM goose_db_version").Scan(&v)
	return v.Int64, err
}

// lastStep is the highest number that a file of steps begins with.
func lastStep(steps fs.FS) (int64, error) {
	names, err := fs.Glob(steps, "*.sql")
	if err != nil {
		return 0, err
	}
	var last int64
	for _, name := range names {
		number, _, _ := strings.Cut(path.Base(name), "_")
		n, err := strconv.ParseInt(number, 10, 64)
		if err != nil {
			return 0, fmt.Errorf("migration %s: the name must begin with its number", name)
		}
		last = max(last, n)
	}
	return last, nil
}

// runSteps has goose run the pending steps on conn, which is in a transaction, and checks that every
// reference still holds: foreign keys are off meanwhile, as rebuilding a table asks for.
func runSteps(ctx context.Context, conn *sql.Conn, steps fs.FS) error {
	err := conn.Raw(func(dc any) (err error) {
		db := sql.OpenDB(nested{dc.(driver.Conn)})
		db.SetMaxOpenConns(1)
		defer func() { err = errors.Join(err, db.Close()) }()
		p, err := goose.NewProvider(goose.DialectSQLite3, db, steps,
			goose.WithLogger(goose.NopLogger()), goose.WithDisableGlobalRegistry(true))
		if err != nil {
			return err
		}
		_, err = p.Up(ctx)
		return err
	})
	if err != nil {
		return err
	}
	var broken int
	err = conn.QueryRowContext(ctx, "SELECT count(*) FROM pragma_foreign_key_check").Scan(&broken)
	if err == nil && broken > 0 {
		err = fmt.Errorf("%d references lead nowhere", broken)
	}
	return err
}

// nested lends a connection that is already in a transaction to goose, whose own transactions become
// savepoints in it.
type nested struct{ driver.Conn }

// Connect and Driver make nested a driver.Connector of one connection.
func (n nested) Connect(context.Context) (driver.Conn, error) { return n, nil }

// Driver is not asked for by database/sql when it is given a Connector.
func (n nested) Driver() driver.Driver { return nil }

// Close leaves the connection to its owner.
func (n nested) Close() error { return nil }

// Begin opens a savepoint in place of a transaction.
func (n nested) Begin() (driver.Tx, error) { return n, n.exec("SAVEPOINT step") }

// Commit keeps what was done since the savepoint.
func (n nested) Commit() error { return n.exec("RELEASE step") }

// Rollback undoes what was done since the savepoint.
func (n nested) Rollback() error {
	return errors.Join(n.exec("ROLLBACK TO step"), n.exec("RELEASE step"))
}

func (n nested) exec(query string) error {
	// The context belongs to the transaction around it.
	_, err := n.Conn.(driver.ExecerContext).ExecContext(context.Background(), query, nil)
	return err
}
