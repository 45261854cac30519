package store

import (
	"fmt"
	"slices"

	"evenhand/internal/screen"
)

const (
	qListsOf = "SELECT day_id, athlete_id, number, code, screen_id, twice, added FROM participants WHERE athlete_id = ? ORDER BY day_id"

	qEraseHandouts     = "DELETE FROM handouts WHERE day_id = ? AND athlete_id = ?"
	qEraseDayEntries   = "DELETE FROM day_entries WHERE day_id = ? AND athlete_id = ?"
	qEraseParticipants = "DELETE FROM participants WHERE day_id = ? AND athlete_id = ?"
	qEraseReadings     = "DELETE FROM readings WHERE screen_id = ?"
	qEraseNotDone      = "DELETE FROM not_done WHERE screen_id = ?"
	qEraseChecklist    = "DELETE FROM checklist_answers WHERE screen_id = ?"
	qEraseSymptoms     = "DELETE FROM symptoms WHERE screen_id = ?"
	qEraseScreens      = "DELETE FROM screens WHERE id = ?"
	qEraseEvents       = "DELETE FROM events WHERE athlete_id = ?"
	qEraseConsents     = "DELETE FROM consents WHERE athlete_id = ?"
	qEraseLinks        = "DELETE FROM links WHERE athlete_id = ?"
	qEraseMemberships  = "DELETE FROM memberships WHERE athlete_id = ?"
	qEraseAthlete      = "DELETE FROM athletes WHERE id = ?"

	// The day's number grows by as many as are erased, so that none of its numbers is ever given twice.
	qEraseBump = "UPDATE days SET revision = revision + ?, changed = ? WHERE id = ?"
	qDigitsCut = "UPDATE reading_digits SET on_five = max(0, on_five - ?), total = max(0, total - ?) WHERE team_id = ?"

	qPriorIDs  = "SELECT id FROM squad_priors WHERE team_id = ? ORDER BY on_day, made, id"
	qStudyIDs  = "SELECT id FROM studies WHERE team_id = ? ORDER BY made, id"
	qPriorBody = "UPDATE squad_priors SET body = ? WHERE id = ?"
	qStudyData = "UPDATE studies SET body = ?, data = ? WHERE id = ?"

	qDayRevision = "SELECT revision FROM days WHERE id = ?"
)

var eraseStatements = []string{qListsOf, qEraseHandouts, qEraseDayEntries, qEraseParticipants, qEraseReadings, qEraseNotDone, qEraseChecklist,
	qEraseSymptoms, qEraseScreens, qEraseEvents, qEraseConsents, qEraseLinks, qEraseMemberships, qEraseAthlete, qEraseBump, qDigitsCut,
	qPriorIDs, qStudyIDs, qPriorBody, qStudyData, qDayRevision}

// The kinds that Erased counts.
const (
	ErasedScreens     = "screens"
	ErasedReadings    = "readings"
	ErasedNotDone     = "measures not done"
	ErasedAnswers     = "checklist answers"
	ErasedSymptoms    = "symptoms"
	ErasedEvents      = "events"
	ErasedDayEntries  = "entries of screening days"
	ErasedPlaces      = "places on lists of screening days"
	ErasedHandouts    = "handouts"
	ErasedConsents    = "consents"
	ErasedLinks       = "links of the family"
	ErasedMemberships = "memberships"
	ErasedPriors      = "squad figures without the name"
	ErasedStudies     = "retest studies without the readings"
)

// Erased is how much of what kind was erased.
type Erased map[string]int

// EraseAthlete removes an athlete and everything that is on record of the athlete alone. Numbers of
// others on the lists of screening days stay. Readings are taken out of those counted for Heaping by
// digits. What a team keeps of several athletes together is not touched: see PriorBodies and
// StudyBodies, which the caller changes first. The audit stays. Returns NotFound.
func (tx *Tx) EraseAthlete(id string, digits Digits) (out Erased, err error) {
	defer tx.fail(&err)
	if _, err := tx.Athlete(id); err != nil {
		return nil, err
	}
	out = Erased{}
	if err := tx.eraseDays(id, out); err != nil {
		return nil, err
	}
	if err := tx.eraseScreens(id, out, digits); err != nil {
		return nil, err
	}
	for _, x := range []struct{ kind, query string }{
		{ErasedEvents, qEraseEvents}, {ErasedConsents, qEraseConsents}, {"", qHoldDrop}, {ErasedLinks, qEraseLinks},
		{ErasedMemberships, qEraseMemberships}, {"", qHandsDrop}, {"", qEraseAthlete},
	} {
		if err := tx.eraseCounted(out, x.kind, x.query, id); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// eraseDays takes an athlete off the lists of screening days, with what stations sent and what was
// printed.
func (tx *Tx) eraseDays(athlete string, out Erased) error {
	lists, err := all[participantRow](tx, qListsOf, athlete)
	if err != nil {
		return err
	}
	for i := range lists {
		day, before := lists[i].DayID, out[ErasedDayEntries]
		for _, x := range []struct{ kind, query string }{
			{ErasedHandouts, qEraseHandouts}, {ErasedDayEntries, qEraseDayEntries}, {ErasedPlaces, qEraseParticipants},
		} {
			if err := tx.eraseCounted(out, x.kind, x.query, day, athlete); err != nil {
				return err
			}
		}
		if err := tx.exec(qEraseBump, out[ErasedDayEntries]-before+1, tx.now(), day); err != nil {
			return err
		}
	}
	return nil
}

// eraseScreens removes an athlete's screens with all that was entered at them, screen by screen.
func (tx *Tx) eraseScreens(athlete string, out Erased, digits Digits) error {
	ids, err := tx.AthleteScreenIDs(athlete)
	if err != nil {
		return err
	}
	for _, id := range ids {
		if err := tx.cutDigits(id, digits); err != nil {
			return err
		}
		for _, x := range []struct{ kind, query string }{
			{ErasedReadings, qEraseReadings}, {ErasedNotDone, qEraseNotDone}, {ErasedAnswers, qEraseChecklist},
			{ErasedSymptoms, qEraseSymptoms}, {ErasedScreens, qEraseScreens},
		} {
			if err := tx.eraseCounted(out, x.kind, x.query, id); err != nil {
				return err
			}
		}
	}
	return nil
}

// cutDigits takes a screen's readings out of those counted for Heaping.
func (tx *Tx) cutDigits(screenID string, digits Digits) error {
	if digits == nil {
		return nil
	}
	s, err := tx.Screen(screenID)
	if err != nil {
		return err
	}
	var n digitsRow
	err = each(tx, qReadingsIn, func(r *packedRow) error {
		x, err := r.reading(screenID)
		if countable, onFive := digits(x); countable {
			n.Total++
			if onFive {
				n.OnFive++
			}
		}
		return err
	}, idList([]string{screenID}))
	if err != nil || n.Total == 0 {
		return err
	}
	return tx.exec(qDigitsCut, n.OnFive, n.Total, s.Team)
}

// eraseCounted runs a statement and adds the rows that it removed to those of the kind, if it has one.
func (tx *Tx) eraseCounted(out Erased, kind, query string, args ...any) error {
	st, ok := tx.stmts[query]
	if !ok {
		return fmt.Errorf("store: statement is not in the list: %s", query)
	}
	res, err := tx.sql.StmtContext(tx.ctx, st).ExecContext(tx.ctx, args...)
	if err != nil {
		return fmt.Errorf("store: erase: %w", err)
	}
	n, err := res.RowsAffected()
	if kind != "" {
		out[kind] += int(n)
	}
	return err
}

type idRow struct{ ID string }

func (r *idRow) dest() []any { return []any{&r.ID} }

// AllTeamsOf are the ids of all teams that an athlete ever belonged to or has a screen of, by id.
func (tx *Tx) AllTeamsOf(athlete string) (out []string, err error) {
	err = each(tx, qTeamsOf, func(r *teamsRow) error { out = append(out, r.Team); return nil }, athlete)
	if err != nil {
		return nil, err
	}
	for p := (Page{Limit: maxLimit}); ; {
		list, next, err := tx.AthleteScreens(athlete, p)
		if err != nil {
			return nil, err
		}
		for i := range list {
			out = append(out, list[i].Team)
		}
		if p.After = next; next == "" {
			break
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// EachPrior calls fn with everything that was kept of what is usual in a team, also what was worked out
// anew since, with its body. Where fn gives another body, it is kept in its place.
func (tx *Tx) EachPrior(team string, fn func(*screen.KeptPrior) (body []byte, err error)) (changed int, err error) {
	defer tx.fail(&err)
	ids, err := all[idRow](tx, qPriorIDs, team)
	if err != nil {
		return 0, err
	}
	for i := range ids {
		p, err := tx.KeptPrior(ids[i].ID)
		if err != nil {
			return 0, err
		}
		body, err := fn(&p)
		if err != nil {
			return 0, err
		}
		if body == nil {
			continue
		}
		changed++
		if err := tx.exec(qPriorBody, body, p.ID); err != nil {
			return 0, err
		}
	}
	return changed, nil
}

// EachStudy calls fn with every study that a team kept, with body and data. Where fn gives others, they
// are kept in their places.
func (tx *Tx) EachStudy(team string, fn func(*screen.KeptStudy) (body, data []byte, err error)) (changed int, err error) {
	defer tx.fail(&err)
	ids, err := all[idRow](tx, qStudyIDs, team)
	if err != nil {
		return 0, err
	}
	for i := range ids {
		s, err := tx.Study(ids[i].ID)
		if err != nil {
			return 0, err
		}
		body, data, err := fn(&s)
		if err != nil {
			return 0, err
		}
		if data == nil {
			continue
		}
		changed++
		if err := tx.exec(qStudyData, body, data, s.ID); err != nil {
			return 0, err
		}
	}
	return changed, nil
}

// DayRevision is the revision of a screening day, which changes when somebody is taken out of its log;
// 0 if there is no such day.
func (tx *Tx) DayRevision(day string) (int, error) {
	r, _, err := one[flagRow](tx, qDayRevision, day)
	return r.N, err
}

// BumpDay makes devices of a screening day read it again. None for an unknown day.
func (tx *Tx) BumpDay(day string) (err error) {
	defer tx.fail(&err)
	return tx.exec(qDayBump, tx.now(), day)
}

// Forget drops what is kept in memory of records: after an erasure nothing of them is.
func (s *Store) Forget() { s.cache.clear() }
