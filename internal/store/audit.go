package store

import (
	"time"

	"evenhand/internal/access"
)

const (
	auditCols  = "seq, at, who, name, action, outcome, kind, subject, team, via, request, prev, hash"
	qAuditLast = "SELECT " + auditCols + " FROM audit WHERE seq > 0 ORDER BY seq DESC LIMIT 1"
	qAuditFrom = "SELECT " + auditCols + " FROM audit WHERE seq > ? ORDER BY seq LIMIT ?"
	qAuditAdd  = "INSERT INTO audit (" + auditCols + ") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
	// Newest first, before the entry given.
	qAuditBefore    = "SELECT " + auditCols + " FROM audit WHERE seq < ? ORDER BY seq DESC LIMIT ?"
	qAuditByWho     = "SELECT " + auditCols + " FROM audit WHERE who = ? AND seq < ? ORDER BY seq DESC LIMIT ?"
	qAuditBySubject = "SELECT " + auditCols + " FROM audit WHERE subject = ? AND seq < ? ORDER BY seq DESC LIMIT ?"
	qAuditByTeam    = "SELECT " + auditCols + " FROM audit WHERE team = ? AND seq < ? ORDER BY seq DESC LIMIT ?"
)

var auditStatements = []string{qAuditLast, qAuditFrom, qAuditAdd, qAuditBefore, qAuditByWho, qAuditBySubject, qAuditByTeam}

type auditRow struct {
	Seq, At                                                                int64
	Who, Name, Action, Outcome, Kind, Subject, Team, Via, Request, P, Hash string
}

func (r *auditRow) dest() []any {
	return []any{&r.Seq, &r.At, &r.Who, &r.Name, &r.Action, &r.Outcome, &r.Kind, &r.Subject, &r.Team, &r.Via, &r.Request, &r.P, &r.Hash}
}

func (r *auditRow) entry() access.Entry {
	return access.Entry{Seq: r.Seq, At: instant(r.At), Who: r.Who, Name: r.Name, Action: access.Action(r.Action), Outcome: access.Outcome(r.Outcome),
		Kind: r.Kind, Subject: r.Subject, Team: r.Team, Via: r.Via, Request: r.Request, Prev: r.P, Hash: r.Hash}
}

// LastAudit is the head of the audit; nil if it is empty.
func (tx *Tx) LastAudit() (*access.Entry, error) {
	r, found, err := one[auditRow](tx, qAuditLast)
	if err != nil || !found {
		return nil, err
	}
	e := r.entry()
	return &e, nil
}

// AppendAudit adds an entry behind the last one; At is set to now where it is zero.
func (tx *Tx) AppendAudit(e access.Entry) (err error) {
	defer tx.fail(&err)
	last, err := tx.LastAudit()
	if err != nil {
		return err
	}
	if e.At.IsZero() {
		e.At = tx.store.now()
	}
	e.Seal(last)
	return tx.exec(qAuditAdd, e.Seq, micros(e.At), e.Who, e.Name, string(e.Action), string(e.Outcome), e.Kind, e.Subject, e.Team, e.Via, e.Request, e.Prev, e.Hash)
}

// AuditQuery says which entries are wanted: those by Who, about Subject or of Team, the first of these
// that is not empty, or all; and of these those that fit what else is not zero.
type AuditQuery struct {
	Who, Subject, Team string
	Action             access.Action
	Outcome            access.Outcome
	From, Before       time.Time
}

func (q *AuditQuery) fits(e *access.Entry) bool {
	return (q.Who == "" || e.Who == q.Who) && (q.Subject == "" || e.Subject == q.Subject) && (q.Team == "" || e.Team == q.Team) &&
		(q.Action == "" || e.Action == q.Action) && (q.Outcome == "" || e.Outcome == q.Outcome) &&
		(q.From.IsZero() || !e.At.Before(q.From)) && (q.Before.IsZero() || e.At.Before(q.Before))
}

// auditChunk is how many entries are read at once.
const auditChunk = 500

// FindAudit calls fn with the entries that q asks for, the newest first, from the one before the entry
// before on (0: from the last one), until fn returns false.
func (tx *Tx) FindAudit(q *AuditQuery, before int64, fn func(*access.Entry) (more bool, err error)) error {
	if before <= 0 {
		before = 1<<63 - 1
	}
	for {
		n, stop := 0, false
		use := func(r *auditRow) error {
			n++
			before = r.Seq
			if e := r.entry(); !stop && q.fits(&e) {
				more, err := fn(&e)
				stop = !more
				return err
			}
			return nil
		}
		var err error
		switch {
		case q.Who != "":
			err = each(tx, qAuditByWho, use, q.Who, before, auditChunk)
		case q.Subject != "":
			err = each(tx, qAuditBySubject, use, q.Subject, before, auditChunk)
		case q.Team != "":
			err = each(tx, qAuditByTeam, use, q.Team, before, auditChunk)
		default:
			err = each(tx, qAuditBefore, use, before, auditChunk)
		}
		if err != nil || stop || n < auditChunk {
			return err
		}
	}
}

// EachAudit calls fn with every entry, the first one first.
func (tx *Tx) EachAudit(fn func(*access.Entry) error) error {
	for after := int64(0); ; {
		n := 0
		err := each(tx, qAuditFrom, func(r *auditRow) error {
			n++
			after = r.Seq
			e := r.entry()
			return fn(&e)
		}, after, auditChunk)
		if err != nil || n < auditChunk {
			return err
		}
	}
}
