package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"gorm.io/gorm"
)

// Tx is one transaction. It sees one state of the file and belongs to one goroutine; it ends when the
// function that was given it returns.
type Tx struct {
	ctx     context.Context
	store   *Store
	stmts   map[string]*sql.Stmt
	gorm    *gorm.DB
	sql     *sql.Tx
	writing bool
	failed  error
}

// Read runs fn in a transaction that sees one state of the file. It waits for nobody who writes.
// Returns fn's error.
func (s *Store) Read(ctx context.Context, fn func(*Tx) error) error {
	return s.run(ctx, s.read, false, fn)
}

// Write runs fn in a transaction that may write, one at a time. All of it is on the disk when Write
// returns nil; if fn returns an error or panics, or one of its writes failed (even if fn hid that),
// nothing of it is kept and that error is returned. Where the disk took no more it is a Problem with the
// code Full. A Write within a Write waits for itself: do not.
func (s *Store) Write(ctx context.Context, fn func(*Tx) error) error {
	return noRoom(s.run(ctx, s.write, true, fn))
}

func (s *Store) run(ctx context.Context, p *pool, writing bool, fn func(*Tx) error) (err error) {
	g := p.gorm.WithContext(ctx).Begin()
	if g.Error != nil {
		return fmt.Errorf("store: begin: %w", g.Error)
	}
	ended := false
	defer func() {
		if !ended {
			g.Rollback()
		}
	}()
	tx := &Tx{ctx: ctx, store: s, stmts: p.stmts, gorm: g, sql: g.Statement.ConnPool.(*sql.Tx), writing: writing}
	if err := fn(tx); err != nil {
		return err
	}
	if tx.failed != nil {
		return tx.failed
	}
	ended = true
	if err := g.Commit().Error; err != nil {
		return fmt.Errorf("store: commit: %w", err)
	}
	return nil
}

// fail remembers that a write failed, so that the transaction around it is not kept. It is deferred
// by every method that writes.
func (tx *Tx) fail(err *error) {
	if *err != nil && tx.failed == nil {
		tx.failed = *err
	}
}

// statements are all the statements that are not gorm's. They are prepared once per connection: gorm's
// own PrepareStmt prepares anew in every transaction, since database/sql cannot carry a statement that
// was prepared in one transaction over into another. A test looks at the plan of each.
var statements = slices.Concat(recordStatements, auditStatements, peopleStatements, consentStatements, keepingStatements)

var recordStatements = []string{
	qTeams, qTeam, qTeamExists, qTeamBump, qSeasons, qSeason, qSeasonExists,
	qAthletes, qTeamAthletes, qAthlete, qAthleteExists, qAthletesByExternal, qTeamAthletesByExternal,
	qAthletesByPerson, qAthletesIn, qHands, qHandsIn, qHandsDrop,
	qMembers, qMembership, qTeamsOf, qIsMember, qMemberName, qMembersRename, qLatest,
	qTeamScreens, qAthleteScreens, qScreen, qScreenExists, qScreenBump, qScreensIn, qBaseline,
	qRevision, qRevisionsIn, qAllScreenIDs, qTeamScreenIDs,
	qReadingsIn, qMeasuredIn, qReadingsByID, qReadingsLast, qReadingSupersede, qReadingWithdraw,
	qDigits, qDigitsAdd,
	qNotDoneIn, qNotDoneByID, qNotDoneLast, qNotDoneWithdraw,
	qChecklistIn, qChecklistByID, qChecklistLast, qChecklistWithdraw,
	qSymptomsIn, qSymptomsByID, qSymptomsLast, qSymptomWithdraw,
	qDay, qDayExists, qDayBump, qTeamDays, qDaysOn, qDayByStation,
	qStationsIn, qStationAdd, qStationDrop,
	qParticipants, qParticipantTwice,
	qDayEntries, qDayEntriesIn, qDayEntryLast,
	qHandouts, qHandoutsIn, qHandoutNewest,
	qEvents, qEventsIn, qEvent, qEventWithdraw,
	qKeptPriors, qKeptPrior,
	qStudies, qStudy, qStudyOf, qSwitches, qSwitch, qSwitchLast,
	qScreensBetween, qScreensOf,
}

// row is a pointer to a row of a table or of a query, which names the places of its columns in order.
type row[T any] interface {
	*T
	dest() []any
}

// flagRow is the row of a query that only asks whether there is one, or for one number.
type flagRow struct{ N int }

func (r *flagRow) dest() []any { return []any{&r.N} }

// rows runs one of the statements above.
func (tx *Tx) rows(query string, args ...any) (*sql.Rows, error) {
	st, ok := tx.stmts[query]
	if !ok {
		return nil, fmt.Errorf("store: statement is not in the list: %s", query)
	}
	rows, err := tx.sql.StmtContext(tx.ctx, st).QueryContext(tx.ctx, args...)
	if err != nil {
		return nil, fmt.Errorf("store: read: %w", err)
	}
	return rows, nil
}

// exec runs one of the statements above that write.
func (tx *Tx) exec(query string, args ...any) error {
	st, ok := tx.stmts[query]
	if !ok {
		return fmt.Errorf("store: statement is not in the list: %s", query)
	}
	if _, err := tx.sql.StmtContext(tx.ctx, st).ExecContext(tx.ctx, args...); err != nil {
		return fmt.Errorf("store: write: %w", err)
	}
	return nil
}

// each calls fn with every row of a query. The row is overwritten by the next one.
func each[T any, P row[T]](tx *Tx, query string, fn func(P) error, args ...any) (err error) {
	rows, err := tx.rows(query, args...)
	if err != nil {
		return err
	}
	defer func() {
		if e := rows.Close(); e != nil && err == nil {
			err = fmt.Errorf("store: read: %w", e)
		}
	}()
	r := P(new(T))
	dest := r.dest()
	for rows.Next() {
		if err := rows.Scan(dest...); err != nil {
			return fmt.Errorf("store: read: %w", err)
		}
		if err := fn(r); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("store: read: %w", err)
	}
	return nil
}

// all is every row of a query.
func all[T any, P row[T]](tx *Tx, query string, args ...any) ([]T, error) {
	var out []T
	err := each(tx, query, func(r P) error { out = append(out, *r); return nil }, args...)
	return out, err
}

// one is the first row of a query, and whether there was one.
func one[T any, P row[T]](tx *Tx, query string, args ...any) (T, bool, error) {
	var none T
	rows, err := all[T, P](tx, query, args...)
	if err != nil || len(rows) == 0 {
		return none, false, err
	}
	return rows[0], true, nil
}
