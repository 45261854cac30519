package store

import (
	"database/sql"

	"evenhand/internal/screen"
)

const (
	readingOf = "r.screen_id, r.seq, r.id, r.measure, r.side, r.trials, r.examiner, r.instrument, r.position, r.device," +
		" r.taken, r.step, r.entered, r.entered_by, r.supersedes, r.superseded_by, r.why, r.withdrawn"
	// Readings are clustered by screen and number, so they come in order within each screen.
	qReadingsIn = "SELECT j.key, " + packed + ", r.taken, r.step, r.entered" +
		" FROM json_each(?) j CROSS JOIN readings r ON r.screen_id = j.value"
	qReadingsByID     = "SELECT " + readingOf + " FROM json_each(?) j CROSS JOIN readings r ON r.id = j.value"
	qReadingsLast     = "SELECT coalesce(max(seq), 0) FROM readings WHERE screen_id = ?"
	qReadingSupersede = "UPDATE readings SET superseded_by = ? WHERE id = ? AND superseded_by IS NULL"
	qDigits           = "SELECT on_five, total FROM reading_digits WHERE team_id = ?"
	qDigitsAdd        = "INSERT INTO reading_digits (team_id, on_five, total) VALUES (?, ?, ?)" +
		" ON CONFLICT (team_id) DO UPDATE SET on_five = on_five + excluded.on_five, total = total + excluded.total"
)

var readingQueries = childQueries{kind: "reading", byID: qReadingsByID, last: qReadingsLast, withdraw: qReadingWithdraw}

type readingRow struct {
	ScreenID     string `gorm:"primaryKey"`
	Seq          int    `gorm:"primaryKey;autoIncrement:false"`
	ID           string `gorm:"column:id"`
	Measure      string
	Side         string
	Trials       string
	Examiner     string
	Instrument   string
	Position     string
	Device       string
	Taken        int64
	Step         float64
	Entered      int64
	EnteredBy    string
	Supersedes   sql.NullString
	SupersededBy sql.NullString
	Why          string
	Withdrawn    string
}

// TableName is the table of readings.
func (readingRow) TableName() string { return "readings" }

func (r *readingRow) dest() []any {
	return []any{&r.ScreenID, &r.Seq, &r.ID, &r.Measure, &r.Side, &r.Trials, &r.Examiner, &r.Instrument,
		&r.Position, &r.Device, &r.Taken, &r.Step, &r.Entered, &r.EnteredBy, &r.Supersedes, &r.SupersededBy, &r.Why, &r.Withdrawn}
}

func (r *readingRow) ident() string { return r.ID }

func (r *readingRow) place(seq int) { r.Seq = seq }

func (r readingRow) content() readingRow {
	r.Seq, r.Entered, r.EnteredBy, r.SupersededBy, r.Withdrawn = 0, 0, "", sql.NullString{}, ""
	return r
}

func readingRowOf(r *screen.Reading, now int64) readingRow {
	row := readingRow{ScreenID: r.Screen, ID: r.ID, Measure: r.Measure, Side: string(r.Side), Trials: trialsText(r.Trials),
		Examiner: r.Examiner, Instrument: r.Instrument, Position: r.Position, Device: r.Device, Taken: micros(r.Taken),
		Step: r.Step, Entered: micros(r.Entered), EnteredBy: r.EnteredBy, Supersedes: maybe(r.Supersedes), Why: r.Why,
		Withdrawn: r.Withdrawn}
	if row.Entered == 0 {
		row.Entered = now
	}
	return row
}

func (r *readingRow) reading() (screen.Reading, error) {
	trials, err := parseTrials(r.Trials)
	return screen.Reading{ID: r.ID, Screen: r.ScreenID, Measure: r.Measure, Side: screen.Side(r.Side), Trials: trials,
		Examiner: r.Examiner, Instrument: r.Instrument, Position: r.Position, Device: r.Device, Taken: instant(r.Taken),
		Step: r.Step, Entered: instant(r.Entered), EnteredBy: r.EnteredBy, Supersedes: r.Supersedes.String,
		Superseded: r.SupersededBy.String, Why: r.Why, Withdrawn: r.Withdrawn}, err
}

type digitsRow struct{ OnFive, Total int }

func (r *digitsRow) dest() []any { return []any{&r.OnFive, &r.Total} }

// Digits says of a reading whether it counts for Heaping (it is in degrees, say, read to one), and
// whether it ends in 0 or 5. It is the caller's because units are the protocol's.
type Digits func(screen.Reading) (countable, onFive bool)

// PutReadings writes readings at a screen and returns how many were new; those that are on file with
// the same content are left alone. Entered is set to now where it is zero; Superseded is the store's
// own. A reading that was withdrawn stays so when it is sent again. A reading with Supersedes corrects the reading that it names, which must stand at the same
// screen. Each new reading is counted for Heaping by digits, if that is not nil. Bumps the screen's
// revision if any was new.
//
// Returns NotFound if there is no such screen, Conflict if an id is taken by another reading or the
// reading to be corrected was corrected already or withdrawn, Invalid for a reading of another screen or a
// correction of something unknown or without a Why.
func (tx *Tx) PutReadings(screenID string, readings []screen.Reading, digits Digits) (added int, err error) {
	defer tx.fail(&err)
	s, found, err := one[screenRow](tx, qScreen, screenID)
	if err != nil {
		return 0, err
	}
	if !found {
		return 0, notFound("screen")
	}
	now := tx.now()
	rows := make([]readingRow, len(readings))
	for i := range readings {
		if err := sameScreen("reading", readings[i].Screen, screenID); err != nil {
			return 0, err
		}
		rows[i] = readingRowOf(&readings[i], now)
		if err := checkTexts(&rows[i]); err != nil {
			return 0, err
		}
	}
	if rows, err = fresh[readingRow](tx, readingQueries, rows); err != nil || len(rows) == 0 {
		return 0, err
	}
	if err := tx.checkCorrections(rows); err != nil {
		return 0, err
	}
	if err := add[readingRow](tx, readingQueries, screenID, rows); err != nil {
		return 0, err
	}
	for i := range rows {
		if rows[i].Supersedes.Valid {
			if err := tx.exec(qReadingSupersede, rows[i].ID, rows[i].Supersedes.String); err != nil {
				return 0, err
			}
		}
	}
	return len(rows), tx.countDigits(s.TeamID, rows, digits)
}

// CorrectReading writes r as the correction of the reading with the id given, at the same screen, and
// reports whether it was new. r's Screen and Supersedes are set here. Returns NotFound if there is no
// such reading, and else what PutReadings returns.
func (tx *Tx) CorrectReading(id string, r screen.Reading, digits Digits) (added bool, err error) {
	defer tx.fail(&err)
	old, found, err := one[readingRow](tx, qReadingsByID, idList([]string{id}))
	if err != nil {
		return false, err
	}
	if !found {
		return false, notFound("reading")
	}
	r.Screen, r.Supersedes = old.ScreenID, id
	n, err := tx.PutReadings(old.ScreenID, []screen.Reading{r}, digits)
	return n > 0, err
}

// Reading is the reading with the id given, and its screen's id is in it. Returns NotFound if there
// is none.
func (tx *Tx) Reading(id string) (screen.Reading, error) {
	r, found, err := one[readingRow](tx, qReadingsByID, idList([]string{id}))
	if err != nil {
		return screen.Reading{}, err
	}
	if !found {
		return screen.Reading{}, notFound("reading")
	}
	return r.reading()
}

// checkCorrections refuses corrections among the new rows that do not correct a standing reading of
// the same screen, on file or among rows.
func (tx *Tx) checkCorrections(rows []readingRow) error {
	var ids []string
	standing := map[string]readingRow{}
	for _, r := range rows {
		standing[r.ID] = r
		if r.Supersedes.Valid {
			ids = append(ids, r.Supersedes.String)
		}
	}
	if len(ids) == 0 {
		return nil
	}
	err := each(tx, qReadingsByID, func(r *readingRow) error { standing[r.ID] = *r; return nil }, idList(ids))
	if err != nil {
		return err
	}
	for _, r := range rows {
		if !r.Supersedes.Valid {
			continue
		}
		old, found := standing[r.Supersedes.String]
		if p := correctionProblem(&r, &old, found); p != nil {
			return p
		}
		old.SupersededBy = maybe(r.ID) // a second correction of it in the same batch is refused
		standing[old.ID] = old
	}
	return nil
}

// correctionProblem is what is wrong with r as a correction of old; nil if nothing is.
func correctionProblem(r, old *readingRow, found bool) error {
	switch {
	case !found:
		return &screen.Problem{Code: screen.Invalid,
			Text: "the reading corrects a reading that is not on record", Want: "enter it without supersedes"}
	case old.ScreenID != r.ScreenID || old.ID == r.ID:
		return &screen.Problem{Code: screen.Invalid,
			Text: "the reading corrects itself or a reading of another screen", Want: "correct a reading of the same screen"}
	case old.SupersededBy.Valid:
		return &screen.Problem{Code: screen.Conflict,
			Text: "the reading was corrected already", Want: "correct the reading " + old.SupersededBy.String}
	case old.Withdrawn != "":
		return &screen.Problem{Code: screen.Conflict,
			Text: "the reading was taken back", Want: "enter it as a new reading"}
	case r.Why == "":
		return &screen.Problem{Code: screen.Invalid,
			Text: "a correction needs its reason", Want: "say why the earlier reading is wrong"}
	}
	return nil
}

// countDigits adds the new rows to the team's counters.
func (tx *Tx) countDigits(team string, rows []readingRow, digits Digits) error {
	if digits == nil {
		return nil
	}
	var n digitsRow
	for i := range rows {
		r, err := rows[i].reading()
		if err != nil {
			return err
		}
		if countable, onFive := digits(r); countable {
			n.Total++
			if onFive {
				n.OnFive++
			}
		}
	}
	if n.Total == 0 {
		return nil
	}
	return tx.exec(qDigitsAdd, team, n.OnFive, n.Total)
}

// Heaping is how many of all readings entered for a team and counted ended in 0 or 5, and how many
// were counted. It looks at how instruments are read, so corrected readings stay in it.
func (tx *Tx) Heaping(team string) (onFive, total int, err error) {
	r, _, err := one[digitsRow](tx, qDigits, team)
	return r.OnFive, r.Total, err
}
