package store

import (
	"slices"

	"evenhand/internal/screen"
)

const (
	qAllScreenIDs  = "SELECT '', id FROM screens WHERE ?1 = '' AND id > ?2 ORDER BY id LIMIT ?3"
	qTeamScreenIDs = "SELECT on_day, id FROM screens WHERE team_id = ? AND (on_day, id) > (?, ?) ORDER BY on_day, id LIMIT ?"
)

// exportBatch is how many records EachRecord holds at once.
const exportBatch = 64

type screenKeyRow struct{ On, ID string }

func (r *screenKeyRow) dest() []any { return []any{&r.On, &r.ID} }

// Record is a screen with its athlete and everything that was entered at it. The record is shared
// with other callers: do not modify it. Returns NotFound if there is no such screen.
//
// A record that was read before costs one look-up of its revisions, which also sees what other
// processes wrote.
func (tx *Tx) Record(screenID string) (*screen.Record, error) {
	ofScreen, ofAthlete, err := tx.ScreenRevision(screenID)
	if err != nil {
		return nil, err
	}
	rev := revisionRow{ID: screenID, Screen: ofScreen, Athlete: ofAthlete}
	if rec := tx.store.cache.get(rev); rec != nil {
		return rec, nil
	}
	recs, err := tx.load([]string{screenID})
	if err != nil {
		return nil, err
	}
	return tx.keep(rev, recs[screenID]), nil
}

// Records are the records of several screens, in the order of ids, read with a handful of queries
// however many there are. They are shared with other callers: do not modify them. Returns NotFound
// if there is no screen with one of the ids.
//
// In a record, readings stand in the order in which they came in, corrected and withdrawn ones
// included. Of the checklist and of what was not done only the latest entry per item, or per measure
// and side, that was not withdrawn is in it. Withdrawn symptoms are in it.
func (tx *Tx) Records(ids []string) ([]*screen.Record, error) {
	revs := make(map[string]revisionRow, len(ids))
	err := each(tx, qRevisionsIn, func(r *revisionRow) error { revs[r.ID] = *r; return nil }, idList(ids))
	if err != nil {
		return nil, err
	}
	out := make([]*screen.Record, len(ids))
	var missing []string
	for i, id := range ids {
		rev, found := revs[id]
		if !found {
			return nil, notFound("screen")
		}
		if out[i] = tx.store.cache.get(rev); out[i] == nil {
			missing = append(missing, id)
		}
	}
	slices.Sort(missing)
	loaded, err := tx.load(slices.Compact(missing)) // an id may be asked for twice
	if err != nil {
		return nil, err
	}
	for i, id := range ids {
		if out[i] == nil {
			out[i] = tx.keep(revs[id], loaded[id])
		}
	}
	return out, nil
}

// EachRecord calls fn with every record of the team, or of all teams if team is "", and stops at the
// first error, which it returns. However many there are, it holds a few at once. A team's records
// come by day. All are of one state of the file; while it runs, the file's log is not shortened.
func (tx *Tx) EachRecord(team string, fn func(*screen.Record) error) error {
	return tx.eachBatch(team, tx.load, fn)
}

// eachBatch goes through the screens of a team, or of all, a few at a time, with the records that load
// gives for their ids.
func (tx *Tx) eachBatch(team string, load func([]string) (map[string]*screen.Record, error), fn func(*screen.Record) error) error {
	query, args, at := qAllScreenIDs, []any(nil), beforeAll
	if team != "" {
		query, args = qTeamScreenIDs, []any{team}
	}
	for {
		keys, err := all[screenKeyRow](tx, query, append(slices.Clone(args), at[0], at[1], exportBatch)...)
		if err != nil {
			return err
		}
		recs, err := load(convert(keys, func(k *screenKeyRow) string { return k.ID }))
		if err != nil {
			return err
		}
		for _, k := range keys {
			if err := fn(recs[k.ID]); err != nil {
				return err
			}
		}
		if len(keys) < exportBatch {
			return nil
		}
		last := keys[len(keys)-1]
		at = [2]string{last.On, last.ID}
	}
}

// keep puts a record that was loaded at the revisions given into the cache, and returns it. A
// transaction that writes does not: its revisions may be undone and taken by other content.
func (tx *Tx) keep(rev revisionRow, rec *screen.Record) *screen.Record {
	if !tx.writing {
		tx.store.cache.put(rev, rec)
	}
	return rec
}

// load reads the records of the screens given, which exist.
func (tx *Tx) load(ids []string) (map[string]*screen.Record, error) {
	list, recs, err := tx.loadScreens(ids)
	if err != nil || len(recs) == 0 {
		return nil, err
	}
	if err := tx.loadReadings(recs, ids, list); err != nil {
		return nil, err
	}
	return recs, tx.loadEntries(recs, list)
}

// loadScreens reads the screens given, which exist, with their athletes, and gives the list of their ids
// as it goes into a query.
func (tx *Tx) loadScreens(ids []string) (list string, recs map[string]*screen.Record, err error) {
	if len(ids) == 0 {
		return "", nil, nil
	}
	list, recs = idList(ids), make(map[string]*screen.Record, len(ids))
	err = each(tx, qScreensIn, func(r *screenRow) error {
		recs[r.ID] = &screen.Record{Screen: r.screen(), Readings: []screen.Reading{}} // as JSON a list, not null
		return nil
	}, list)
	if err != nil {
		return "", nil, err
	}
	return list, recs, tx.loadAthletes(recs)
}

// loadAthletes gives each record its athlete. Records of one athlete share the parts of it.
func (tx *Tx) loadAthletes(recs map[string]*screen.Record) error {
	ids := make([]string, 0, len(recs))
	for _, rec := range recs {
		ids = append(ids, rec.Screen.Athlete)
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	rows, err := all[athleteRow](tx, qAthletesIn, idList(ids))
	if err != nil {
		return err
	}
	people, err := tx.athletes(rows)
	if err != nil {
		return err
	}
	byID := make(map[string]*screen.Athlete, len(people))
	for i := range people {
		byID[people[i].ID] = &people[i]
	}
	for _, rec := range recs {
		rec.Athlete = *byID[rec.Screen.Athlete]
	}
	return nil
}

// loadReadings gives each record its readings. They come screen by screen, and are gathered first, so
// that a record holds as much memory as it has readings.
func (tx *Tx) loadReadings(recs map[string]*screen.Record, ids []string, list string) error {
	gathered := make([]screen.Reading, 0, 96)
	at := 0
	flush := func() {
		if len(gathered) > 0 {
			recs[ids[at]].Readings = slices.Clone(gathered)
			gathered = gathered[:0]
		}
	}
	err := each(tx, qReadingsIn, func(r *packedRow) error {
		if r.At != at {
			flush()
			at = r.At
		}
		x, err := r.reading(ids[at])
		gathered = append(gathered, x)
		return err
	}, list)
	flush()
	return err
}

// loadEntries gives each record what else was entered, the latest standing one where only that counts.
func (tx *Tx) loadEntries(recs map[string]*screen.Record, list string) error {
	err := each(tx, qNotDoneIn, func(r *notDoneRow) error {
		rec, n := recs[r.ScreenID], r.notDone()
		rec.NotDone = latest(rec.NotDone, n, func(o *screen.NotDone) bool { return o.Measure == n.Measure && o.Side == n.Side })
		return nil
	}, list)
	if err != nil {
		return err
	}
	err = each(tx, qChecklistIn, func(r *checklistRow) error {
		rec, a := recs[r.ScreenID], r.answer()
		rec.Checklist = latest(rec.Checklist, a, func(o *screen.ChecklistAnswer) bool { return o.Item == a.Item })
		return nil
	}, list)
	if err != nil {
		return err
	}
	return each(tx, qSymptomsIn, func(r *symptomRow) error {
		rec := recs[r.ScreenID]
		rec.Symptoms = append(rec.Symptoms, r.symptom())
		return nil
	}, list)
}

// latest puts x in the place of the entry that it supersedes, or at the end. There are tens of them.
func latest[T any](list []T, x T, superseded func(*T) bool) []T {
	for i := range list {
		if superseded(&list[i]) {
			list[i] = x
			return list
		}
	}
	return append(list, x)
}
