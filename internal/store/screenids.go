package store

import "evenhand/internal/screen"

const (
	qScreensBetween = "SELECT on_day, id FROM screens WHERE team_id = ? AND on_day BETWEEN ? AND ? ORDER BY on_day, id"
	qScreensOf      = "SELECT on_day, id FROM screens WHERE athlete_id = ? ORDER BY on_day, id"
)

// TeamScreensBetween are the ids of a team's screens from one day to another, both included, by day.
func (tx *Tx) TeamScreensBetween(team string, from, to screen.Date) ([]string, error) {
	return tx.screenIDs(qScreensBetween, team, string(from), string(to))
}

// AthleteScreenIDs are the ids of all screens of an athlete, in whichever team, the oldest first.
func (tx *Tx) AthleteScreenIDs(athlete string) ([]string, error) {
	return tx.screenIDs(qScreensOf, athlete)
}

func (tx *Tx) screenIDs(query string, args ...any) ([]string, error) {
	rows, err := all[screenKeyRow](tx, query, args...)
	return convert(rows, func(k *screenKeyRow) string { return k.ID }), err
}
