package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"gorm.io/driver/sqlite"
	"gorm.io/gorm"
	"gorm.io/gorm/logger"
	_ "modernc.org/sqlite" // the engine, pure Go, registered as "sqlite" (gorm's own default is "sqlite3")
)

const (
	driverName = "sqlite"
	readers    = 4    // connections that read at the same time
	cacheSize  = 4096 // records kept in memory

	longestWait = 2 * time.Second // between two attempts to open a file that is busy
)

// Options change how a Store works. The zero Options are right for the program.
type Options struct {
	Now func() time.Time // the clock for Changed and Entered; nil: time.Now
}

// Store is an open database file. It may be used by many goroutines, and many processes may have the
// same file open. Close it.
type Store struct {
	path        string
	read, write *pool
	cache       *cache
	now         func() time.Time
}

// pool is a set of connections with the statements that are prepared on them.
type pool struct {
	gorm  *gorm.DB
	sql   *sql.DB
	stmts map[string]*sql.Stmt
}

// Open opens the database file at path, makes it if there is none, and brings it to the schema of
// this program. A file that was made by a newer program is refused with ErrNewer, one that holds
// something else with ErrForeign; both are left as they are, and so is a file whose migration fails.
// A new file may be read by its owner only.
func Open(ctx context.Context, path string, opt Options) (*Store, error) {
	if path == "" {
		return nil, errors.New("open the database: no file name given")
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	if err := f.Close(); err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	// While another process makes the same new file, or closes it as the last one, the engine says at
	// once that it is busy, whatever the busy_timeout.
	for wait := time.Millisecond; ; wait *= 2 {
		s, err := open(ctx, path, opt)
		if code(err)&0xff != codeBusy || wait > longestWait {
			return s, err
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("open the database %s: %w", path, ctx.Err())
		case <-time.After(wait):
		}
	}
}

func open(ctx context.Context, path string, opt Options) (_ *Store, err error) {
	if err := migrate(ctx, path, migrations()); err != nil {
		return nil, fmt.Errorf("open the database %s: %w", path, err)
	}
	s := &Store{path: path, cache: newCache(cacheSize), now: opt.Now}
	if s.now == nil {
		s.now = time.Now
	}
	if s.write, err = openPool(ctx, dsn(path, writerDSN), 1); err != nil {
		return nil, fmt.Errorf("open the database %s: %w", path, err)
	}
	if s.read, err = openPool(ctx, dsn(path, readerDSN), readers); err != nil {
		return nil, errors.Join(fmt.Errorf("open the database %s: %w", path, err), s.write.close())
	}
	return s, nil
}

// Path is the name of the file, as it was opened.
func (s *Store) Path() string { return s.path }

// Close waits for running transactions and closes the file.
func (s *Store) Close() error { return errors.Join(s.read.close(), s.write.close()) }

// The pragmas stand in the DSN because the pool makes connections as it needs them, and a pragma holds
// for one connection. The writer takes the lock as its transaction begins: a transaction that reads
// first and writes later could otherwise find the file changed in between and fail. What is deleted is
// overwritten with zeros, so that nothing of an erased record stays in the free parts of the file.
const (
	everyDSN  = "_pragma=busy_timeout(10000)&_pragma=synchronous(full)"
	writerDSN = everyDSN + "&_pragma=foreign_keys(on)&_pragma=journal_mode(wal)&_pragma=secure_delete(on)&_txlock=immediate"
	readerDSN = everyDSN + "&_pragma=foreign_keys(on)&_pragma=journal_mode(wal)&_pragma=cache_size(-8000)&_pragma=query_only(on)"
	// Without journal_mode, which would change a file that is then refused, and without foreign keys, as
	// rebuilding a table asks for: they are checked at the end.
	migrateDSN = everyDSN + "&_pragma=foreign_keys(off)&_pragma=secure_delete(on)"
	// Copies are written by a connection of their own: readers may write nothing, the writer is in use.
	copyDSN = everyDSN
	// Checking changes nothing, not even the kind of log.
	checkDSN = everyDSN + "&_pragma=query_only(on)&_pragma=cache_size(-8000)"
)

// dsn names the file at path as a URI, in which a file name's ?, # and % would mean something else.
func dsn(path, query string) string {
	p := filepath.ToSlash(filepath.Clean(path))
	if filepath.VolumeName(path) != "" && !strings.HasPrefix(p, "/") {
		p = "/" + p // file:/C:/dir/file
	}
	return "file:" + (&url.URL{Path: p}).EscapedPath() + "?" + query
}

func openPool(ctx context.Context, dsn string, size int) (*pool, error) {
	db, err := sql.Open(driverName, dsn)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(size)
	db.SetMaxIdleConns(size) // a connection holds prepared statements and cached pages: keep it
	p := &pool{sql: db, stmts: make(map[string]*sql.Stmt, len(statements))}
	p.gorm, err = gorm.Open(sqlite.New(sqlite.Config{DriverName: driverName, Conn: db}), &gorm.Config{
		SkipDefaultTransaction: true,
		Logger:                 logger.Discard, // statements carry names and health data
	})
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	for _, q := range statements {
		if p.stmts[q], err = db.PrepareContext(ctx, q); err != nil {
			return nil, errors.Join(err, p.close())
		}
	}
	return p, nil
}

func (p *pool) close() error {
	var errs []error
	for _, st := range p.stmts {
		if st != nil {
			errs = append(errs, st.Close())
		}
	}
	return errors.Join(append(errs, p.sql.Close())...)
}
