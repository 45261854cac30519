package store

import (
	"strings"

	"evenhand/internal/screen"
)

const (
	qReadingWithdraw   = "UPDATE readings SET withdrawn = ? WHERE id = ? AND withdrawn = ''"
	qNotDoneWithdraw   = "UPDATE not_done SET withdrawn = ? WHERE id = ? AND withdrawn = ''"
	qChecklistWithdraw = "UPDATE checklist_answers SET withdrawn = ? WHERE id = ? AND withdrawn = ''"
	qSymptomWithdraw   = "UPDATE symptoms SET withdrawn = ? WHERE id = ? AND withdrawn = ''"
)

// withdrawable is a child that can be taken back. It is kept then, with the reason.
type withdrawable[R any] interface {
	child[R]
	withdrawal() (screenID, why string) // why is "" while the entry holds
	mayWithdraw() error                 // what speaks against taking the entry back
}

// withdraw says why an entry does not hold, and reports whether that was new. It bumps the screen's
// revision.
func withdraw[R any, P withdrawable[R]](tx *Tx, q childQueries, id, why string) (wrote bool, err error) {
	if why == "" {
		return false, &screen.Problem{Code: screen.Invalid,
			Text: "withdrawing a " + q.kind + " needs a reason", Want: "say why the entry does not hold"}
	}
	if strings.Contains(why, unit) {
		return false, hasUnit("reason")
	}
	old, found, err := one[R, P](tx, q.byID, idList([]string{id}))
	if err != nil {
		return false, err
	}
	if !found {
		return false, notFound(q.kind)
	}
	screenID, before := P(&old).withdrawal()
	if before == why {
		return false, nil
	}
	if before != "" {
		return false, &screen.Problem{Code: screen.Conflict,
			Text: "the " + q.kind + " was withdrawn already, for another reason", Want: "read the screen again"}
	}
	if err := P(&old).mayWithdraw(); err != nil {
		return false, err
	}
	if err := tx.exec(q.withdraw, why, id); err != nil {
		return false, err
	}
	return true, tx.exec(qScreenBump, tx.now(), screenID)
}

func (r *readingRow) withdrawal() (screenID, why string) { return r.ScreenID, r.Withdrawn }

func (r *readingRow) mayWithdraw() error {
	if !r.SupersededBy.Valid {
		return nil
	}
	return &screen.Problem{Code: screen.Conflict,
		Text: "the reading was corrected already", Want: "take back the reading " + r.SupersededBy.String}
}

func (r *notDoneRow) withdrawal() (screenID, why string) { return r.ScreenID, r.Withdrawn }

func (r *notDoneRow) mayWithdraw() error { return nil }

func (r *checklistRow) withdrawal() (screenID, why string) { return r.ScreenID, r.Withdrawn }

func (r *checklistRow) mayWithdraw() error { return nil }

func (r *symptomRow) withdrawal() (screenID, why string) { return r.ScreenID, r.Withdrawn }

func (r *symptomRow) mayWithdraw() error { return nil }

// WithdrawReading says why a reading is taken back, and reports whether that was new. The reading is
// kept and stays among those counted for Heaping. It bumps the screen's revision. Returns NotFound if
// there is no such reading, Conflict if it was withdrawn for another reason or corrected already,
// Invalid if why is empty.
func (tx *Tx) WithdrawReading(id, why string) (wrote bool, err error) {
	defer tx.fail(&err)
	return withdraw[readingRow](tx, readingQueries, id, why)
}

// WithdrawNotDone says why a note that a measure was not done is taken back; the note before it on the
// same measure and side counts again. It bumps and returns as WithdrawSymptom does.
func (tx *Tx) WithdrawNotDone(id, why string) (wrote bool, err error) {
	defer tx.fail(&err)
	return withdraw[notDoneRow](tx, notDoneQueries, id, why)
}

// WithdrawAnswer says why an answer to the checklist is taken back; the answer before it to the same
// item counts again. It bumps and returns as WithdrawSymptom does.
func (tx *Tx) WithdrawAnswer(id, why string) (wrote bool, err error) {
	defer tx.fail(&err)
	return withdraw[checklistRow](tx, checklistQueries, id, why)
}

// WithdrawSymptom says why a symptom that was entered does not hold, and reports whether that was
// new. The entry is kept. It bumps the screen's revision. Returns NotFound if there is no such
// symptom, Conflict if it was withdrawn for another reason, Invalid if why is empty.
func (tx *Tx) WithdrawSymptom(id, why string) (wrote bool, err error) {
	defer tx.fail(&err)
	return withdraw[symptomRow](tx, symptomQueries, id, why)
}
