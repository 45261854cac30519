package store

import (
	"database/sql"

	"evenhand/internal/screen"
)

// Each member's newest screen is one look-up in the index by athlete and day.
const qLatest = "SELECT m.athlete_id, m.athlete_name, s.id, s.team_id, s.on_day, s.revision FROM memberships m" +
	" LEFT JOIN screens s ON s.id = (SELECT x.id FROM screens x WHERE x.athlete_id = m.athlete_id" +
	" ORDER BY x.on_day DESC, x.id DESC LIMIT 1)" +
	" WHERE m.team_id = ? AND (m.to_day = '' OR m.to_day >= ?) AND m.from_day <= ?" +
	" ORDER BY m.athlete_name, m.athlete_id"

// Latest is a member of a team and the newest screen there is of the member, in whichever team.
type Latest struct {
	Athlete string
	Name    string
	Screen  *ScreenRef // nil: never screened
}

// ScreenRef names a screen at a revision.
type ScreenRef struct {
	ID       string
	Team     string
	On       screen.Date
	Revision int
}

type latestRow struct {
	Athlete, Name  string
	ID, Team, On   sql.NullString
	ScreenRevision sql.NullInt64
}

func (r *latestRow) dest() []any {
	return []any{&r.Athlete, &r.Name, &r.ID, &r.Team, &r.On, &r.ScreenRevision}
}

// LatestScreens lists the members that a team has on the day given, by name, each once with the
// newest screen. An empty day takes those whose membership has no end. None for an unknown team.
func (tx *Tx) LatestScreens(team string, on screen.Date) ([]Latest, error) {
	day := string(on)
	if day == "" {
		day = afterAll[0] // later than every day: only memberships without an end are left
	}
	var out []Latest
	err := each(tx, qLatest, func(r *latestRow) error {
		if n := len(out); n > 0 && out[n-1].Athlete == r.Athlete {
			return nil // a member in two seasons
		}
		l := Latest{Athlete: r.Athlete, Name: r.Name}
		if r.ID.Valid {
			l.Screen = &ScreenRef{ID: r.ID.String, Team: r.Team.String, On: screen.Date(r.On.String),
				Revision: int(r.ScreenRevision.Int64)}
		}
		out = append(out, l)
		return nil
	}, team, day, day)
	return out, err
}
