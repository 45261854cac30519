package store

import (
	"database/sql"

	"evenhand/internal/screen"
)

const (
	memberCols  = "id, team_id, season_id, athlete_id, athlete_name, from_day, to_day"
	qMembers    = "SELECT " + memberCols + " FROM memberships WHERE team_id = ? ORDER BY athlete_name, athlete_id, from_day, id"
	qMembership = "SELECT " + memberCols + " FROM memberships WHERE id = ?"
	qTeamsOf    = "SELECT team_id, to_day FROM memberships WHERE athlete_id = ? ORDER BY team_id"
	qIsMember   = "SELECT 1 FROM memberships WHERE athlete_id = ? AND team_id = ? LIMIT 1"
	qMemberName = "SELECT name FROM athletes WHERE id = ?"
	// The name stands in memberships too, so that a team's list is read in the order of an index.
	qMembersRename = "UPDATE memberships SET athlete_name = ? WHERE athlete_id = ?"
)

type memberRow struct {
	ID          string
	TeamID      string
	SeasonID    sql.NullString
	AthleteID   string
	AthleteName string
	From        string `gorm:"column:from_day"`
	To          string `gorm:"column:to_day"`
}

// TableName is the table of memberships.
func (memberRow) TableName() string { return "memberships" }

func (r *memberRow) dest() []any {
	return []any{&r.ID, &r.TeamID, &r.SeasonID, &r.AthleteID, &r.AthleteName, &r.From, &r.To}
}

func memberRowOf(m *screen.Membership) memberRow {
	return memberRow{ID: m.ID, TeamID: m.Team, SeasonID: maybe(m.Season), AthleteID: m.Athlete,
		From: string(m.From), To: string(m.To)}
}

func (r *memberRow) membership() screen.Membership {
	return screen.Membership{ID: r.ID, Team: r.TeamID, Season: r.SeasonID.String, Athlete: r.AthleteID,
		From: screen.Date(r.From), To: screen.Date(r.To)}
}

// content is r without what is only a copy.
func (r memberRow) content() memberRow {
	r.AthleteName = ""
	return r
}

type teamsRow struct{ Team, To string }

func (r *teamsRow) dest() []any { return []any{&r.Team, &r.To} }

// TeamsOf are the ids of the teams whose people look after an athlete on a day: those of which the
// athlete is a member then or will be, or else those that the athlete left last. None for an unknown
// athlete.
func (tx *Tx) TeamsOf(athlete string, on screen.Date) (out []string, err error) {
	last := ""
	err = each(tx, qTeamsOf, func(r *teamsRow) error {
		until := r.To
		if until == "" || until >= string(on) {
			until = afterAll[0] // not over
		}
		if until > last {
			last, out = until, nil
		}
		if until == last && (len(out) == 0 || out[len(out)-1] != r.Team) {
			out = append(out, r.Team)
		}
		return nil
	}, athlete)
	return out, err
}

type nameRow struct{ Name string }

func (r *nameRow) dest() []any { return []any{&r.Name} }

// Members are all memberships of a team, past ones too, by the athlete's name; a team has a squad's
// number of them per season. None for an unknown team.
func (tx *Tx) Members(team string) ([]screen.Membership, error) {
	rows, err := all[memberRow](tx, qMembers, team)
	return convert(rows, (*memberRow).membership), err
}

// IsMember reports whether the athlete belongs to the team or ever did.
func (tx *Tx) IsMember(team, athlete string) (bool, error) {
	_, found, err := one[flagRow](tx, qIsMember, athlete, team)
	return found, err
}

// PutMembership writes a membership: a new one if ifTeamRevision is 0, otherwise new or over the one
// with its id (to end it, say), if the team is at that revision. It bumps the team's revision and
// reports whether anything was written. Returns Conflict (also if a membership is to change its team
// or athlete), NotFound, Stale, or Invalid if the team, the season or the athlete is not on record.
func (tx *Tx) PutMembership(m screen.Membership, ifTeamRevision int) (wrote bool, err error) {
	defer tx.fail(&err)
	if err := checkID("membership", m.ID); err != nil {
		return false, err
	}
	old, found, err := one[memberRow](tx, qMembership, m.ID)
	if err != nil {
		return false, err
	}
	r := memberRowOf(&m)
	if found && (old.TeamID != r.TeamID || old.AthleteID != r.AthleteID) {
		return false, taken("membership")
	}
	wrote, err = tx.decideChild("membership", found, old.content() == r, m.Team, ifTeamRevision)
	if err != nil || !wrote {
		return false, err
	}
	name, _, err := one[nameRow](tx, qMemberName, m.Athlete)
	if err != nil {
		return false, err
	}
	r.AthleteName = name.Name
	if err := tx.put(found, &r); err != nil {
		refs := []ref{{"team", qTeamExists, m.Team}, {"athlete", qAthleteExists, m.Athlete}}
		if m.Season != "" {
			refs = append(refs, ref{"season", qSeasonExists, m.Season})
		}
		return false, tx.refused(err, "membership", refs...)
	}
	return true, tx.exec(qTeamBump, tx.now(), m.Team)
}
