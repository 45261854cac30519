package store

import (
	"fmt"

	"evenhand/internal/screen"
)

// child is a row of something that is entered at a screen and not changed afterwards. Rows of one
// screen are numbered as they come in and stored side by side.
type child[R any] interface {
	row[R]
	ident() string
	content() R // the row without what the server sets: what makes it the same when it is sent again
	place(seq int)
}

// childQueries are the statements by which one kind of child is kept.
type childQueries struct{ kind, byID, last, withdraw string }

// fresh are those rows that are not on file yet. Returns Conflict if one of the ids is taken by a row
// that says something else, on file or among rows, and Invalid for an id that cannot be kept.
func fresh[R comparable, P child[R]](tx *Tx, q childQueries, rows []R) ([]R, error) {
	ids := make([]string, len(rows))
	for i := range rows {
		ids[i] = P(&rows[i]).ident()
		if err := checkID(q.kind, ids[i]); err != nil {
			return nil, err
		}
	}
	known := make(map[string]R, len(rows))
	err := each(tx, q.byID, func(r P) error { known[r.ident()] = r.content(); return nil }, idList(ids))
	if err != nil {
		return nil, err
	}
	var out []R
	for i := range rows {
		c := P(&rows[i]).content()
		have, ok := known[ids[i]]
		if ok && have != c {
			return nil, taken(q.kind)
		}
		if !ok {
			known[ids[i]] = c
			out = append(out, rows[i])
		}
	}
	return out, nil
}

// add writes rows behind those that the screen has, and bumps the screen's revision.
func add[R any, P child[R]](tx *Tx, q childQueries, screenID string, rows []R) error {
	if len(rows) == 0 {
		return nil
	}
	last, _, err := one[flagRow](tx, q.last, screenID)
	if err != nil {
		return err
	}
	for i := range rows {
		P(&rows[i]).place(last.N + 1 + i)
	}
	if err := tx.gorm.CreateInBatches(&rows, 200).Error; err != nil {
		return tx.refused(err, q.kind, ref{"screen", qScreenExists, screenID})
	}
	return tx.exec(qScreenBump, tx.now(), screenID)
}

// putEntries writes the rows made by of from entries, and says how many were new.
func putEntries[E any, R comparable, P child[R]](tx *Tx, q childQueries, screenID string, entries []E,
	screenOf func(*E) string, of func(*E, int64) R) (int, error) {
	if _, found, err := one[flagRow](tx, qScreenExists, screenID); err != nil {
		return 0, err
	} else if !found {
		return 0, notFound("screen")
	}
	now := tx.now()
	rows := make([]R, len(entries))
	for i := range entries {
		if err := sameScreen(q.kind, screenOf(&entries[i]), screenID); err != nil {
			return 0, err
		}
		rows[i] = of(&entries[i], now)
	}
	rows, err := fresh[R, P](tx, q, rows)
	if err != nil {
		return 0, err
	}
	return len(rows), add[R, P](tx, q, screenID, rows)
}

// sameScreen refuses an entry that names another screen than the one it is put to.
func sameScreen(kind, named, screenID string) error {
	if named == screenID {
		return nil
	}
	return &screen.Problem{Code: screen.Invalid,
		Text: fmt.Sprintf("the %s names another screen than the one it is entered at", kind),
		Want: "name the same screen"}
}
