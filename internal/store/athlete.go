package store

import (
	"cmp"
	"slices"

	"evenhand/internal/screen"
)

const (
	athleteCols    = "id, name, name_key, born, sex, sport, positions, level, height_cm, mass_kg, external_id, revision, changed"
	qAthletes      = "SELECT " + athleteCols + " FROM athletes WHERE (name, id) > (?, ?) ORDER BY name, id LIMIT ?"
	qAthlete       = "SELECT " + athleteCols + " FROM athletes WHERE id = ?"
	qAthleteExists = "SELECT 1 FROM athletes WHERE id = ?"
	// The names in memberships are copies of those in athletes. CROSS JOIN fixes the order of the loops.
	qTeamAthletes = "SELECT " + athleteOf + " FROM memberships m CROSS JOIN athletes a ON a.id = m.athlete_id" +
		" WHERE m.team_id = ? AND (m.athlete_name, m.athlete_id) > (?, ?)" +
		" GROUP BY m.athlete_name, m.athlete_id ORDER BY m.athlete_name, m.athlete_id LIMIT ?"
	athleteOf = "a.id, a.name, a.name_key, a.born, a.sex, a.sport, a.positions, a.level," +
		" a.height_cm, a.mass_kg, a.external_id, a.revision, a.changed"
	qAthletesByExternal = "SELECT " + athleteCols + " FROM athletes WHERE external_id = ? ORDER BY id LIMIT 2"
	// Two are read, to know whether the number is ambiguous.
	qTeamAthletesByExternal = "SELECT " + athleteCols + " FROM athletes a WHERE external_id = ?" +
		" AND EXISTS (SELECT 1 FROM memberships m WHERE m.athlete_id = a.id AND m.team_id = ?) ORDER BY id LIMIT 2"
	qAthletesByPerson = "SELECT " + athleteCols + " FROM athletes WHERE name_key = ? AND born = ? ORDER BY id LIMIT 20"
	qAthletesIn       = "SELECT " + athleteOf + " FROM json_each(?) j CROSS JOIN athletes a ON a.id = j.value"

	handCols   = "athlete_id, from_day, hand"
	qHands     = "SELECT " + handCols + " FROM hands WHERE athlete_id = ? ORDER BY from_day"
	qHandsIn   = "SELECT h.athlete_id, h.from_day, h.hand FROM json_each(?) j CROSS JOIN hands h ON h.athlete_id = j.value"
	qHandsDrop = "DELETE FROM hands WHERE athlete_id = ?"
)

type athleteRow struct {
	ID, Name, NameKey, Born, Sex, Sport, Positions, Level string

	HeightCM   float64 `gorm:"column:height_cm"`
	MassKG     float64 `gorm:"column:mass_kg"`
	ExternalID string
	Revision   int
	Changed    int64
}

// TableName is the table of athletes.
func (athleteRow) TableName() string { return "athletes" }

func (r *athleteRow) dest() []any {
	return []any{&r.ID, &r.Name, &r.NameKey, &r.Born, &r.Sex, &r.Sport, &r.Positions, &r.Level,
		&r.HeightCM, &r.MassKG, &r.ExternalID, &r.Revision, &r.Changed}
}

func (r *athleteRow) key() [2]string { return [2]string{r.Name, r.ID} }

func athleteRowOf(a *screen.Athlete) athleteRow {
	return athleteRow{ID: a.ID, Name: a.Name, NameKey: personKey(a.Name), Born: string(a.Born), Sex: string(a.Sex),
		Sport: a.Sport, Positions: textList(a.Positions), Level: string(a.Level), HeightCM: a.HeightCM,
		MassKG: a.MassKG, ExternalID: a.ExternalID, Revision: a.Revision, Changed: micros(a.Changed)}
}

func (r *athleteRow) athlete() (screen.Athlete, error) {
	positions, err := parseTextList(r.Positions)
	return screen.Athlete{ID: r.ID, Name: r.Name, Born: screen.Date(r.Born), Sex: screen.Sex(r.Sex), Sport: r.Sport,
		Hands:     []screen.HandSince{}, // as JSON a list, not null
		Positions: positions, Level: screen.Level(r.Level), HeightCM: r.HeightCM, MassKG: r.MassKG,
		ExternalID: r.ExternalID, Revision: r.Revision, Changed: instant(r.Changed)}, err
}

// content is r without what the server sets.
func (r athleteRow) content() athleteRow {
	r.Revision, r.Changed = 0, 0
	return r
}

type handRow struct {
	AthleteID string `gorm:"primaryKey"`
	From      string `gorm:"column:from_day;primaryKey"`
	Hand      string
}

// TableName is the table of throwing hands.
func (handRow) TableName() string { return "hands" }

func (r *handRow) dest() []any { return []any{&r.AthleteID, &r.From, &r.Hand} }

// handRowsOf are a's hands by day. Returns Invalid if two hold from the same day.
func handRowsOf(a *screen.Athlete) ([]handRow, error) {
	var rows []handRow
	for _, h := range a.Hands {
		rows = append(rows, handRow{AthleteID: a.ID, From: string(h.From), Hand: string(h.Hand)})
	}
	slices.SortFunc(rows, func(x, y handRow) int { return cmp.Compare(x.From, y.From) })
	for i := 1; i < len(rows); i++ {
		if rows[i].From == rows[i-1].From {
			return nil, &screen.Problem{Code: screen.Invalid,
				Text: "two throwing hands hold from the same day", Want: "give one hand per day"}
		}
	}
	return rows, nil
}

// athletes are the people behind rows, in their order, with their hands.
func (tx *Tx) athletes(rows []athleteRow) ([]screen.Athlete, error) {
	out := make([]screen.Athlete, len(rows))
	ids, at := make([]string, len(rows)), make(map[string]int, len(rows))
	for i := range rows {
		a, err := rows[i].athlete()
		if err != nil {
			return nil, err
		}
		out[i], ids[i], at[a.ID] = a, a.ID, i
	}
	err := each(tx, qHandsIn, func(h *handRow) error {
		a := &out[at[h.AthleteID]]
		a.Hands = append(a.Hands, screen.HandSince{Hand: screen.Hand(h.Hand), From: screen.Date(h.From)})
		return nil
	}, idList(ids))
	return out, err
}

// Athletes is a page of the athletes by name, and the mark of the next page ("" after the last one):
// those who belong to the team or ever did, or all if team is "". Returns Invalid if p's mark is not
// one of ours.
func (tx *Tx) Athletes(team string, p Page) ([]screen.Athlete, string, error) {
	query, args := qAthletes, []any(nil)
	if team != "" {
		query, args = qTeamAthletes, []any{team}
	}
	rows, next, err := pageOf(tx, query, p, beforeAll, (*athleteRow).key, args...)
	if err != nil {
		return nil, "", err
	}
	out, err := tx.athletes(rows)
	return out, next, err
}

// Athlete is the athlete with the id given. Returns NotFound if there is none.
func (tx *Tx) Athlete(id string) (screen.Athlete, error) {
	r, found, err := one[athleteRow](tx, qAthlete, id)
	if err == nil && !found {
		err = notFound("athlete")
	}
	if err != nil {
		return screen.Athlete{}, err
	}
	out, err := tx.athletes([]athleteRow{r})
	if err != nil {
		return screen.Athlete{}, err
	}
	return out[0], nil
}

// AthleteByExternal is the athlete whom another record knows by the number given: among those of the
// team, or among all if team is "". Returns NotFound if there is none, Invalid if there are several.
func (tx *Tx) AthleteByExternal(team, externalID string) (screen.Athlete, error) {
	if externalID == "" {
		return screen.Athlete{}, notFound("athlete")
	}
	query, args := qAthletesByExternal, []any{externalID}
	if team != "" {
		query, args = qTeamAthletesByExternal, []any{externalID, team}
	}
	rows, err := all[athleteRow](tx, query, args...)
	switch {
	case err != nil:
		return screen.Athlete{}, err
	case len(rows) == 0:
		return screen.Athlete{}, notFound("athlete")
	case len(rows) > 1:
		return screen.Athlete{}, &screen.Problem{Code: screen.Invalid,
			Text: "several athletes have this number", Want: "name the team, or use evenhand's own id"}
	}
	return tx.Athlete(rows[0].ID)
}

// FindAthlete are the athletes (20 at most) who were born on the day given and have the name given,
// whatever its case and spacing: the same person, entered before. An empty day finds those whose day
// of birth is not known.
func (tx *Tx) FindAthlete(name string, born screen.Date) ([]screen.Athlete, error) {
	rows, err := all[athleteRow](tx, qAthletesByPerson, personKey(name), string(born))
	if err != nil {
		return nil, err
	}
	return tx.athletes(rows)
}

// PutAthlete writes an athlete with the throwing hands: a new one if ifRevision is 0, otherwise over
// the one that is at that revision. It sets a's Revision and Changed to what is on file, and reports
// whether anything was written: an athlete who is on file with the same content is left alone,
// whatever the revision. Returns Conflict, NotFound, Stale, or Invalid if two hands hold from the
// same day.
func (tx *Tx) PutAthlete(a *screen.Athlete, ifRevision int) (wrote bool, err error) {
	defer tx.fail(&err)
	if err := checkID("athlete", a.ID); err != nil {
		return false, err
	}
	hands, err := handRowsOf(a)
	if err != nil {
		return false, err
	}
	old, found, err := one[athleteRow](tx, qAthlete, a.ID)
	if err != nil {
		return false, err
	}
	oldHands, err := all[handRow](tx, qHands, a.ID)
	if err != nil {
		return false, err
	}
	r := athleteRowOf(a)
	sameHands := slices.Equal(hands, oldHands)
	wrote, err = decide("athlete", found, sameHands && old.content() == r.content(), old.Revision, ifRevision)
	if err != nil {
		return false, err
	}
	if !wrote {
		a.Revision, a.Changed = old.Revision, instant(old.Changed)
		return false, nil
	}
	r.Revision, r.Changed = old.Revision+1, tx.now()
	if err := tx.put(found, &r); err != nil {
		return false, tx.refused(err, "athlete")
	}
	if found && old.Name != r.Name {
		if err := tx.exec(qMembersRename, r.Name, r.ID); err != nil {
			return false, err
		}
	}
	if !sameHands {
		if err := tx.putHands(a.ID, hands); err != nil {
			return false, err
		}
	}
	a.Revision, a.Changed = r.Revision, instant(r.Changed)
	return true, nil
}

func (tx *Tx) putHands(athlete string, hands []handRow) error {
	if err := tx.exec(qHandsDrop, athlete); err != nil {
		return err
	}
	if len(hands) == 0 {
		return nil
	}
	if err := tx.gorm.Create(&hands).Error; err != nil {
		return tx.refused(err, "throwing hand", ref{"athlete", qAthleteExists, athlete})
	}
	return nil
}
