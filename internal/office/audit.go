package office

import (
	"context"
	"slices"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

const (
	auditPage     = 50
	mostAuditPage = 500
)

// Audit is a page of entries, the newest first, from the one before the entry before on (0: the last
// one), and the mark of the next page (0: none). An administrator of some teams sees those of theirs.
func (o *Office) Audit(ctx context.Context, who access.Person, q store.AuditQuery, before int64, limit int) (list []access.Entry, next int64, err error) {
	if limit <= 0 {
		limit = auditPage
	}
	limit = min(limit, mostAuditPage)
	about := anywhere(who, access.SeeAudit, "audit")
	if q.Team != "" {
		about = gate.Team(q.Team)
	}
	err = o.gate.Read(ctx, who, access.SeeAudit, about, func(tx *store.Tx) error {
		teams, every := who.In(access.SeeAudit)
		if every || q.Team != "" {
			teams = []string{q.Team}
		}
		for _, t := range teams {
			some := q
			some.Team = t
			n := 0
			err := tx.FindAudit(&some, before, func(e *access.Entry) (bool, error) {
				list = append(list, *e)
				n++
				return n <= limit, nil // one more than asked for, to know whether there are more
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, 0, err
	}
	slices.SortFunc(list, func(a, b access.Entry) int { return int(b.Seq - a.Seq) })
	if len(list) > limit {
		list = list[:limit]
		next = list[limit-1].Seq
	}
	return list, next, nil
}

// EachAudit calls fn with every entry that q asks for, the newest first. It reads a page at a time, so
// that a slow reader holds nobody up.
func (o *Office) EachAudit(ctx context.Context, who access.Person, q store.AuditQuery, fn func(*access.Entry) error) error {
	for before := int64(0); ; {
		list, next, err := o.Audit(ctx, who, q, before, mostAuditPage)
		if err != nil {
			return err
		}
		for i := range list {
			if err := fn(&list[i]); err != nil {
				return err
			}
		}
		if next == 0 {
			return nil
		}
		before = next
	}
}

// VerifyAudit checks the whole chain and gives its head, nil if it is empty. broken says what does not
// fit and where; head is then the last entry that fits. err is another error. It is for administrators
// of every team.
func (o *Office) VerifyAudit(ctx context.Context, who access.Person) (head *access.Entry, broken, err error) {
	about := func(*store.Tx, screen.Date) ([]access.Subject, error) {
		return []access.Subject{{Kind: "audit", Every: true}}, nil
	}
	var chain access.Chain
	err = o.gate.Read(ctx, who, access.SeeAudit, about, func(tx *store.Tx) error {
		return tx.EachAudit(func(e *access.Entry) error {
			if broken == nil {
				broken = chain.Next(e)
			}
			return nil
		})
	})
	if err != nil {
		return nil, nil, err
	}
	return chain.Head(), broken, nil
}
