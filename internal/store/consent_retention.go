package store

import (
	"encoding/json"
	"fmt"
	"time"

	"evenhand/internal/screen"
)

const (
	qSetting    = "SELECT value, changed, by_id FROM settings WHERE name = ?"
	qSettingPut = "INSERT INTO settings (name, value, changed, by_id) VALUES (?, ?, ?, ?)" +
		" ON CONFLICT (name) DO UPDATE SET value = excluded.value, changed = excluded.changed, by_id = excluded.by_id"

	qHoldsIn  = "SELECT h.athlete_id, h.why, h.made, h.by_id FROM json_each(?) j CROSS JOIN retention_holds h ON h.athlete_id = j.value"
	qHoldPut  = "INSERT INTO retention_holds (athlete_id, why, made, by_id) VALUES (?, ?, ?, ?) ON CONFLICT (athlete_id) DO UPDATE SET why = excluded.why, made = excluded.made, by_id = excluded.by_id"
	qHoldDrop = "DELETE FROM retention_holds WHERE athlete_id = ?"

	qErasures   = "SELECT id, at, by_id, by_name, why, counts FROM erasures WHERE (at, id) < (?, ?) ORDER BY at DESC, id DESC LIMIT ?"
	qErasureAdd = "INSERT INTO erasures (id, at, by_id, by_name, why, counts) VALUES (?, ?, ?, ?, ?, ?)"

	// The newest day of what there is of an athlete: each is one look-up at the end of an index.
	qLastDays = "SELECT j.value," +
		" coalesce((SELECT max(s.on_day) FROM screens s WHERE s.athlete_id = j.value), '')," +
		" coalesce((SELECT max(e.on_day) FROM events e WHERE e.athlete_id = j.value), '')," +
		" coalesce((SELECT max(max(c.on_day, c.withdrawn_on)) FROM consents c WHERE c.athlete_id = j.value), '')," +
		" coalesce((SELECT max(m.to_day) FROM memberships m WHERE m.athlete_id = j.value), '')," +
		" EXISTS (SELECT 1 FROM memberships m WHERE m.athlete_id = j.value AND m.to_day = '')" +
		" FROM json_each(?) j"
)

var retentionStatements = []string{qSetting, qSettingPut, qHoldsIn, qHoldPut, qHoldDrop, qErasures, qErasureAdd, qLastDays}

type settingRow struct {
	Value   string
	Changed int64
	ByID    string
}

func (r *settingRow) dest() []any { return []any{&r.Value, &r.Changed, &r.ByID} }

// Setting reads what the programme chose under a name into out, which is left as it is if nothing was
// chosen yet.
func (tx *Tx) Setting(name string, out any) (found bool, err error) {
	r, found, err := one[settingRow](tx, qSetting, name)
	if err != nil || !found {
		return false, err
	}
	if err := json.Unmarshal([]byte(r.Value), out); err != nil {
		return false, fmt.Errorf("store: setting %s: %w", name, err)
	}
	return true, nil
}

// PutSetting keeps what the programme chose under a name, in place of what it chose before.
func (tx *Tx) PutSetting(name string, value any, byID string) (err error) {
	defer tx.fail(&err)
	text, err := json.Marshal(value)
	if err != nil {
		return fmt.Errorf("store: setting %s: %w", name, err)
	}
	return tx.exec(qSettingPut, name, string(text), tx.now(), byID)
}

// RetentionHold keeps the records of an athlete although they fall due.
type RetentionHold struct {
	Athlete string    `json:"athlete"`
	Why     string    `json:"why"`
	Made    time.Time `json:"made"`
	ByID    string    `json:"by"`
}

type holdRow struct {
	AthleteID, Why string
	Made           int64
	ByID           string
}

func (r *holdRow) dest() []any { return []any{&r.AthleteID, &r.Why, &r.Made, &r.ByID} }

// RetentionHolds are those of the athletes given who have one.
func (tx *Tx) RetentionHolds(athletes []string) (map[string]RetentionHold, error) {
	out := map[string]RetentionHold{}
	err := each(tx, qHoldsIn, func(r *holdRow) error {
		out[r.AthleteID] = RetentionHold{r.AthleteID, r.Why, instant(r.Made), r.ByID}
		return nil
	}, idList(athletes))
	return out, err
}

// PutRetentionHold keeps an athlete's records, or lets them fall due again with an empty why. Returns
// Invalid for an athlete who is not on record.
func (tx *Tx) PutRetentionHold(athlete, why, byID string) (err error) {
	defer tx.fail(&err)
	if why == "" {
		return tx.exec(qHoldDrop, athlete)
	}
	if err := tx.exec(qHoldPut, athlete, why, tx.now(), byID); err != nil {
		return tx.refused(err, "hold", ref{"athlete", qAthleteExists, athlete})
	}
	return nil
}

// LastDays are the newest days of what is on record of an athlete, "" where there is nothing.
type LastDays struct {
	Screen, Event, Consent, Left screen.Date
	Member                       bool // some membership has no end
}

// Newest is the newest of the days.
func (l *LastDays) Newest() screen.Date { return max(l.Screen, l.Event, l.Consent, l.Left) }

type lastDaysRow struct {
	Athlete                      string
	Screen, Event, Consent, Left string
	Member                       bool
}

func (r *lastDaysRow) dest() []any {
	return []any{&r.Athlete, &r.Screen, &r.Event, &r.Consent, &r.Left, &r.Member}
}

// LastDays are the newest days of what is on record of each of the athletes given.
func (tx *Tx) LastDays(athletes []string) (map[string]LastDays, error) {
	out := make(map[string]LastDays, len(athletes))
	err := each(tx, qLastDays, func(r *lastDaysRow) error {
		out[r.Athlete] = LastDays{screen.Date(r.Screen), screen.Date(r.Event), screen.Date(r.Consent), screen.Date(r.Left), r.Member}
		return nil
	}, idList(athletes))
	return out, err
}

// Erasure says that somebody was erased: how much of what kind, of nobody in particular.
type Erasure struct {
	ID     string         `json:"id"`
	At     time.Time      `json:"at"`
	ByID   string         `json:"by"`
	ByName string         `json:"by_name"`
	Why    string         `json:"why"`
	Counts map[string]int `json:"counts"`
}

type erasureRow struct {
	ID                        string
	At                        int64
	ByID, ByName, Why, Counts string
}

func (r *erasureRow) dest() []any {
	return []any{&r.ID, &r.At, &r.ByID, &r.ByName, &r.Why, &r.Counts}
}

// mostErasures is how many Erasures gives.
const mostErasures = 500

// Erasures are the last ones, the newest first, 500 at most.
func (tx *Tx) Erasures() (out []Erasure, err error) {
	err = each(tx, qErasures, func(r *erasureRow) error {
		e := Erasure{ID: r.ID, At: instant(r.At), ByID: r.ByID, ByName: r.ByName, Why: r.Why}
		if err := json.Unmarshal([]byte(r.Counts), &e.Counts); err != nil {
			return fmt.Errorf("store: erasure: %w", err)
		}
		out = append(out, e)
		return nil
	}, int64(1<<63-1), "", mostErasures)
	return out, err
}

// AddErasure keeps that somebody was erased. At is set to now where it is zero.
func (tx *Tx) AddErasure(e Erasure) (err error) {
	defer tx.fail(&err)
	counts, err := json.Marshal(e.Counts)
	if err != nil {
		return fmt.Errorf("store: erasure: %w", err)
	}
	at := micros(e.At)
	if at == 0 {
		at = tx.now()
	}
	return tx.exec(qErasureAdd, e.ID, at, e.ByID, e.ByName, e.Why, string(counts))
}
