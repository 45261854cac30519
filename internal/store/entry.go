package store

import (
	"evenhand/internal/screen"
)

const (
	standing = " WHERE e.withdrawn = ''"

	notDoneOf    = "e.screen_id, e.seq, e.id, e.measure, e.side, e.reason, e.entered, e.withdrawn"
	qNotDoneIn   = "SELECT " + notDoneOf + " FROM json_each(?) j CROSS JOIN not_done e ON e.screen_id = j.value" + standing
	qNotDoneByID = "SELECT " + notDoneOf + " FROM json_each(?) j CROSS JOIN not_done e ON e.id = j.value"
	qNotDoneLast = "SELECT coalesce(max(seq), 0) FROM not_done WHERE screen_id = ?"

	checklistOf    = "e.screen_id, e.seq, e.id, e.item, e.answer, e.examiner, e.entered, e.withdrawn"
	qChecklistIn   = "SELECT " + checklistOf + " FROM json_each(?) j CROSS JOIN checklist_answers e ON e.screen_id = j.value" + standing
	qChecklistByID = "SELECT " + checklistOf + " FROM json_each(?) j CROSS JOIN checklist_answers e ON e.id = j.value"
	qChecklistLast = "SELECT coalesce(max(seq), 0) FROM checklist_answers WHERE screen_id = ?"

	symptomOf     = "e.screen_id, e.seq, e.id, e.symptom, e.side, e.note, e.entered, e.withdrawn"
	qSymptomsIn   = "SELECT " + symptomOf + " FROM json_each(?) j CROSS JOIN symptoms e ON e.screen_id = j.value"
	qSymptomsByID = "SELECT " + symptomOf + " FROM json_each(?) j CROSS JOIN symptoms e ON e.id = j.value"
	qSymptomsLast = "SELECT coalesce(max(seq), 0) FROM symptoms WHERE screen_id = ?"
)

var (
	notDoneQueries = childQueries{kind: "note that a measure was not done", byID: qNotDoneByID, last: qNotDoneLast,
		withdraw: qNotDoneWithdraw}
	checklistQueries = childQueries{kind: "checklist answer", byID: qChecklistByID, last: qChecklistLast,
		withdraw: qChecklistWithdraw}
	symptomQueries = childQueries{kind: "symptom", byID: qSymptomsByID, last: qSymptomsLast, withdraw: qSymptomWithdraw}
)

type notDoneRow struct {
	ScreenID  string `gorm:"primaryKey"`
	Seq       int    `gorm:"primaryKey;autoIncrement:false"`
	ID        string `gorm:"column:id"`
	Measure   string
	Side      string
	Reason    string
	Entered   int64
	Withdrawn string
}

// TableName is the table of measures that were not done.
func (notDoneRow) TableName() string { return "not_done" }

func (r *notDoneRow) dest() []any {
	return []any{&r.ScreenID, &r.Seq, &r.ID, &r.Measure, &r.Side, &r.Reason, &r.Entered, &r.Withdrawn}
}

func (r *notDoneRow) ident() string { return r.ID }

func (r *notDoneRow) place(seq int) { r.Seq = seq }

// content leaves Withdrawn out, as that of every entry does: one that is sent again after it was withdrawn
// is still the same.
func (r notDoneRow) content() notDoneRow {
	r.Seq, r.Entered, r.Withdrawn = 0, 0, ""
	return r
}

func notDoneRowOf(n *screen.NotDone, now int64) notDoneRow {
	r := notDoneRow{ScreenID: n.Screen, ID: n.ID, Measure: n.Measure, Side: string(n.Side), Reason: string(n.Reason),
		Entered: micros(n.Entered)}
	if r.Entered == 0 {
		r.Entered = now
	}
	return r
}

func (r *notDoneRow) notDone() screen.NotDone {
	return screen.NotDone{ID: r.ID, Screen: r.ScreenID, Measure: r.Measure, Side: screen.Side(r.Side),
		Reason: screen.Reason(r.Reason), Entered: instant(r.Entered)}
}

type checklistRow struct {
	ScreenID  string `gorm:"primaryKey"`
	Seq       int    `gorm:"primaryKey;autoIncrement:false"`
	ID        string `gorm:"column:id"`
	Item      string
	Answer    string
	Examiner  string
	Entered   int64
	Withdrawn string
}

// TableName is the table of answers to the checklist.
func (checklistRow) TableName() string { return "checklist_answers" }

func (r *checklistRow) dest() []any {
	return []any{&r.ScreenID, &r.Seq, &r.ID, &r.Item, &r.Answer, &r.Examiner, &r.Entered, &r.Withdrawn}
}

func (r *checklistRow) ident() string { return r.ID }

func (r *checklistRow) place(seq int) { r.Seq = seq }

func (r checklistRow) content() checklistRow {
	r.Seq, r.Entered, r.Withdrawn = 0, 0, ""
	return r
}

func checklistRowOf(a *screen.ChecklistAnswer, now int64) checklistRow {
	r := checklistRow{ScreenID: a.Screen, ID: a.ID, Item: a.Item, Answer: string(a.Answer), Examiner: a.Examiner,
		Entered: micros(a.Entered)}
	if r.Entered == 0 {
		r.Entered = now
	}
	return r
}

func (r *checklistRow) answer() screen.ChecklistAnswer {
	return screen.ChecklistAnswer{ID: r.ID, Screen: r.ScreenID, Item: r.Item, Answer: screen.Answer(r.Answer),
		Examiner: r.Examiner, Entered: instant(r.Entered)}
}

type symptomRow struct {
	ScreenID  string `gorm:"primaryKey"`
	Seq       int    `gorm:"primaryKey;autoIncrement:false"`
	ID        string `gorm:"column:id"`
	Symptom   string
	Side      string
	Note      string
	Entered   int64
	Withdrawn string
}

// TableName is the table of symptoms.
func (symptomRow) TableName() string { return "symptoms" }

func (r *symptomRow) dest() []any {
	return []any{&r.ScreenID, &r.Seq, &r.ID, &r.Symptom, &r.Side, &r.Note, &r.Entered, &r.Withdrawn}
}

func (r *symptomRow) ident() string { return r.ID }

func (r *symptomRow) place(seq int) { r.Seq = seq }

func (r symptomRow) content() symptomRow {
	r.Seq, r.Entered, r.Withdrawn = 0, 0, ""
	return r
}

func symptomRowOf(s *screen.Symptom, now int64) symptomRow {
	r := symptomRow{ScreenID: s.Screen, ID: s.ID, Symptom: s.Symptom, Side: string(s.Side), Note: s.Note,
		Entered: micros(s.Entered), Withdrawn: s.Withdrawn}
	if r.Entered == 0 {
		r.Entered = now
	}
	return r
}

func (r *symptomRow) symptom() screen.Symptom {
	return screen.Symptom{ID: r.ID, Screen: r.ScreenID, Symptom: r.Symptom, Side: screen.Side(r.Side), Note: r.Note,
		Entered: instant(r.Entered), Withdrawn: r.Withdrawn}
}

// PutNotDone writes at a screen which measures were not done, and returns how many of the entries
// were new; of two for the same measure and side the later one counts. It bumps the screen's
// revision if any was new. Returns NotFound if there is no such screen, Conflict if an id is taken by
// another entry, Invalid for an entry of another screen.
func (tx *Tx) PutNotDone(screenID string, entries []screen.NotDone) (added int, err error) {
	defer tx.fail(&err)
	return putEntries[screen.NotDone, notDoneRow](tx, notDoneQueries, screenID, entries,
		func(e *screen.NotDone) string { return e.Screen }, notDoneRowOf)
}

// PutChecklist writes answers to the checklist at a screen and returns how many were new; of two for
// the same item the later one counts, the earlier one is kept. It bumps and returns as PutNotDone
// does.
func (tx *Tx) PutChecklist(screenID string, answers []screen.ChecklistAnswer) (added int, err error) {
	defer tx.fail(&err)
	return putEntries[screen.ChecklistAnswer, checklistRow](tx, checklistQueries, screenID, answers,
		func(e *screen.ChecklistAnswer) string { return e.Screen }, checklistRowOf)
}

// PutSymptoms writes symptoms at a screen and returns how many were new. It bumps and returns as
// PutNotDone does. A symptom that was withdrawn stays so when it is sent again.
func (tx *Tx) PutSymptoms(screenID string, symptoms []screen.Symptom) (added int, err error) {
	defer tx.fail(&err)
	return putEntries[screen.Symptom, symptomRow](tx, symptomQueries, screenID, symptoms,
		func(e *screen.Symptom) string { return e.Screen }, symptomRowOf)
}

// Symptom is the symptom with the id given. Returns NotFound if there is none.
func (tx *Tx) Symptom(id string) (screen.Symptom, error) {
	r, found, err := one[symptomRow](tx, qSymptomsByID, idList([]string{id}))
	if err == nil && !found {
		err = notFound("symptom")
	}
	return r.symptom(), err
}
