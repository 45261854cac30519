package store

import (
	"evenhand/internal/screen"
)

const (
	teamCols      = "id, name, sport, revision, changed"
	qTeams        = "SELECT " + teamCols + " FROM teams WHERE (name, id) > (?, ?) ORDER BY name, id LIMIT ?"
	qTeam         = "SELECT " + teamCols + " FROM teams WHERE id = ?"
	qTeamExists   = "SELECT 1 FROM teams WHERE id = ?"
	qTeamBump     = "UPDATE teams SET revision = revision + 1, changed = ? WHERE id = ?"
	seasonCols    = "id, team_id, name, from_day, to_day"
	qSeasons      = "SELECT " + seasonCols + " FROM seasons WHERE team_id = ? ORDER BY from_day, id"
	qSeason       = "SELECT " + seasonCols + " FROM seasons WHERE id = ?"
	qSeasonExists = "SELECT 1 FROM seasons WHERE id = ?"
)

type teamRow struct {
	ID, Name, Sport string
	Revision        int
	Changed         int64
}

// TableName is the table of teams.
func (teamRow) TableName() string { return "teams" }

func (r *teamRow) dest() []any { return []any{&r.ID, &r.Name, &r.Sport, &r.Revision, &r.Changed} }

func (r *teamRow) key() [2]string { return [2]string{r.Name, r.ID} }

func teamRowOf(t *screen.Team) teamRow {
	return teamRow{ID: t.ID, Name: t.Name, Sport: t.Sport, Revision: t.Revision, Changed: micros(t.Changed)}
}

func (r *teamRow) team() screen.Team {
	return screen.Team{ID: r.ID, Name: r.Name, Sport: r.Sport, Revision: r.Revision, Changed: instant(r.Changed)}
}

// content is r without what the server sets.
func (r teamRow) content() teamRow {
	r.Revision, r.Changed = 0, 0
	return r
}

type seasonRow struct {
	ID     string
	TeamID string
	Name   string
	From   string `gorm:"column:from_day"`
	To     string `gorm:"column:to_day"`
}

// TableName is the table of seasons.
func (seasonRow) TableName() string { return "seasons" }

func (r *seasonRow) dest() []any { return []any{&r.ID, &r.TeamID, &r.Name, &r.From, &r.To} }

func seasonRowOf(s *screen.Season) seasonRow {
	return seasonRow{ID: s.ID, TeamID: s.Team, Name: s.Name, From: string(s.From), To: string(s.To)}
}

func (r *seasonRow) season() screen.Season {
	return screen.Season{ID: r.ID, Team: r.TeamID, Name: r.Name, From: screen.Date(r.From), To: screen.Date(r.To)}
}

// Teams is a page of all teams by name, and the mark of the next page ("" after the last one).
// Returns Invalid if p's mark is not one of ours.
func (tx *Tx) Teams(p Page) ([]screen.Team, string, error) {
	rows, next, err := pageOf(tx, qTeams, p, beforeAll, (*teamRow).key)
	return convert(rows, (*teamRow).team), next, err
}

// Team is the team with the id given. Returns NotFound if there is none.
func (tx *Tx) Team(id string) (screen.Team, error) {
	r, found, err := one[teamRow](tx, qTeam, id)
	if err == nil && !found {
		err = notFound("team")
	}
	return r.team(), err
}

// PutTeam writes a team: a new one if ifRevision is 0, otherwise over the one that is at that
// revision. It sets t's Revision and Changed to what is on file, and reports whether anything was
// written: a team that says the same already is left alone, whatever its revision. Returns Conflict,
// NotFound or Stale.
func (tx *Tx) PutTeam(t *screen.Team, ifRevision int) (wrote bool, err error) {
	defer tx.fail(&err)
	if err := checkID("team", t.ID); err != nil {
		return false, err
	}
	old, found, err := one[teamRow](tx, qTeam, t.ID)
	if err != nil {
		return false, err
	}
	r := teamRowOf(t)
	wrote, err = decide("team", found, old.content() == r.content(), old.Revision, ifRevision)
	if err != nil {
		return false, err
	}
	if !wrote {
		*t = old.team()
		return false, nil
	}
	r.Revision, r.Changed = old.Revision+1, tx.now()
	if err := tx.put(found, &r); err != nil {
		return false, tx.refused(err, "team")
	}
	*t = r.team()
	return true, nil
}

// Seasons are the seasons of a team from the first on; there are few. None for an unknown team.
func (tx *Tx) Seasons(team string) ([]screen.Season, error) {
	rows, err := all[seasonRow](tx, qSeasons, team)
	return convert(rows, (*seasonRow).season), err
}

// PutSeason writes a season: a new one if ifTeamRevision is 0, otherwise new or over the one with its
// id, if the team is at that revision. It bumps the team's revision and reports whether anything was
// written. Returns Conflict, NotFound, Stale, or Invalid if the team is not on record.
func (tx *Tx) PutSeason(s screen.Season, ifTeamRevision int) (wrote bool, err error) {
	defer tx.fail(&err)
	if err := checkID("season", s.ID); err != nil {
		return false, err
	}
	old, found, err := one[seasonRow](tx, qSeason, s.ID)
	if err != nil {
		return false, err
	}
	r := seasonRowOf(&s)
	if found && old.TeamID != r.TeamID {
		return false, taken("season")
	}
	wrote, err = tx.decideChild("season", found, old == r, s.Team, ifTeamRevision)
	if err != nil || !wrote {
		return false, err
	}
	if err := tx.put(found, &r); err != nil {
		return false, tx.refused(err, "season", ref{"team", qTeamExists, s.Team})
	}
	return true, tx.exec(qTeamBump, tx.now(), s.Team)
}

// decideChild is decide for a season or a membership, which have their team's revision.
func (tx *Tx) decideChild(kind string, found, same bool, team string, ifTeamRevision int) (bool, error) {
	if found && same {
		return false, nil
	}
	if ifTeamRevision == 0 {
		return decide(kind, found, false, 0, 0)
	}
	t, onFile, err := one[teamRow](tx, qTeam, team)
	if err != nil {
		return false, err
	}
	return decide("team", onFile, false, t.Revision, ifTeamRevision)
}
