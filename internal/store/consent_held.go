package store

import (
	"evenhand/internal/access"
	"evenhand/internal/screen"
)

const (
	qHeldMembers   = "SELECT " + memberCols + " FROM memberships WHERE athlete_id = ? ORDER BY team_id"
	qHeldNotDone   = "SELECT " + notDoneOf + " FROM json_each(?) j CROSS JOIN not_done e ON e.screen_id = j.value"
	qHeldChecklist = "SELECT " + checklistOf + " FROM json_each(?) j CROSS JOIN checklist_answers e ON e.screen_id = j.value"
	qHeldEntries   = "SELECT " + dayEntryOf + " FROM participants p CROSS JOIN day_entries e ON e.day_id = p.day_id AND e.athlete_id = p.athlete_id WHERE p.athlete_id = ?" // by the indexes: day after day, each in its order
	qHeldHandouts  = "SELECT " + handoutOf + " FROM participants p CROSS JOIN handouts h ON h.day_id = p.day_id AND h.athlete_id = p.athlete_id" +
		" WHERE p.athlete_id = ?"
	qHeldLinks = "SELECT id, kind, name, made, by_id, expires, used, revoked FROM links WHERE athlete_id = ? ORDER BY made, id"
)

var heldStatements = []string{qHeldMembers, qHeldNotDone, qHeldChecklist, qHeldEntries, qHeldHandouts, qHeldLinks}

// NotDoneHeld is a note that a measure was not done, with its withdrawal.
type NotDoneHeld struct {
	screen.NotDone
	Withdrawn string `json:"withdrawn,omitempty" doc:"why it was taken back"`
}

// AnswerHeld is an answer to the checklist, with its withdrawal.
type AnswerHeld struct {
	screen.ChecklistAnswer
	Withdrawn string `json:"withdrawn,omitempty" doc:"why it was taken back"`
}

// Held is everything that is on record of one athlete alone, also what was corrected, withdrawn or
// answered anew since.
type Held struct {
	Athlete     screen.Athlete
	Memberships []screen.Membership
	Records     []screen.Record // by day; NotDone and Checklist are below
	NotDone     []NotDoneHeld
	Checklist   []AnswerHeld
	Events      []screen.Event
	Consents    []screen.Consent
	Places      []screen.Participant // on lists of screening days
	Entries     []screen.DayEntry
	Handouts    []screen.Handout
	Links       []access.Link // without what opens them
	Hold        *RetentionHold
}

// HeldOf gathers what is on record of an athlete. Returns NotFound.
func (tx *Tx) HeldOf(athlete string) (out Held, err error) {
	if out.Athlete, err = tx.Athlete(athlete); err != nil {
		return out, err
	}
	members, err := all[memberRow](tx, qHeldMembers, athlete)
	if err != nil {
		return out, err
	}
	out.Memberships = convert(members, (*memberRow).membership)
	if err := tx.heldScreens(&out); err != nil {
		return out, err
	}
	if out.Events, err = tx.Events(athlete); err != nil {
		return out, err
	}
	if out.Consents, err = tx.Consents(athlete); err != nil {
		return out, err
	}
	if err := tx.heldDays(&out); err != nil {
		return out, err
	}
	if out.Links, err = tx.heldLinks(athlete); err != nil {
		return out, err
	}
	holds, err := tx.RetentionHolds([]string{athlete})
	if h, ok := holds[athlete]; ok {
		out.Hold = &h
	}
	return out, err
}

func (tx *Tx) heldScreens(out *Held) error {
	ids, err := tx.AthleteScreenIDs(out.Athlete.ID)
	if err != nil {
		return err
	}
	recs, err := tx.Records(ids)
	if err != nil {
		return err
	}
	for _, r := range recs {
		own := *r // records are shared: their lists are left alone
		own.NotDone, own.Checklist = nil, nil
		out.Records = append(out.Records, own)
	}
	list := idList(ids)
	err = each(tx, qHeldNotDone, func(r *notDoneRow) error {
		out.NotDone = append(out.NotDone, NotDoneHeld{r.notDone(), r.Withdrawn})
		return nil
	}, list)
	if err != nil {
		return err
	}
	return each(tx, qHeldChecklist, func(r *checklistRow) error {
		out.Checklist = append(out.Checklist, AnswerHeld{r.answer(), r.Withdrawn})
		return nil
	}, list)
}

func (tx *Tx) heldDays(out *Held) (err error) {
	places, err := all[participantRow](tx, qListsOf, out.Athlete.ID)
	if err != nil {
		return err
	}
	out.Places = convert(places, (*participantRow).participant)
	if out.Entries, err = tx.dayEntries(qHeldEntries, out.Athlete.ID); err != nil {
		return err
	}
	handouts, err := all[handoutRow](tx, qHeldHandouts, out.Athlete.ID)
	out.Handouts = convert(handouts, (*handoutRow).handout)
	return err
}

type heldLinkRow struct {
	ID, Kind, Name string
	Made           int64
	By             string
	Expires        int64
	Used, Revoked  int64
}

func (r *heldLinkRow) dest() []any {
	return []any{&r.ID, &r.Kind, &r.Name, &r.Made, &r.By, &r.Expires, &r.Used, &r.Revoked}
}

func (tx *Tx) heldLinks(athlete string) (out []access.Link, err error) {
	err = each(tx, qHeldLinks, func(r *heldLinkRow) error {
		out = append(out, access.Link{ID: r.ID, Kind: access.LinkKind(r.Kind), Athlete: athlete, Name: r.Name, Made: instant(r.Made),
			By: r.By, Expires: instant(r.Expires), Used: instant(r.Used), Revoked: instant(r.Revoked)})
		return nil
	}, athlete)
	return out, err
}
