package store

import (
	"encoding/json"
	"fmt"

	"evenhand/internal/screen"
)

const (
	dayCols    = "id, team_id, on_day, kind, plan, closed, revision, changed"
	qDay       = "SELECT " + dayCols + " FROM days WHERE id = ?"
	qDayBump   = "UPDATE days SET revision = revision + 1, changed = ? WHERE id = ?"
	qDayExists = "SELECT 1 FROM days WHERE id = ?"
	qTeamDays  = "SELECT " + dayCols + " FROM days WHERE team_id = ? AND (on_day, id) < (?, ?)" +
		" ORDER BY on_day DESC, id DESC LIMIT ?"
	qDaysOn       = "SELECT " + dayCols + " FROM days WHERE on_day = ? ORDER BY id LIMIT ?"
	qDayByStation = "SELECT d.id, d.team_id, d.on_day, d.kind, d.plan, d.closed, d.revision, d.changed" +
		" FROM stations s CROSS JOIN days d ON d.id = s.day_id WHERE s.code = ?"
	qStationsIn  = "SELECT s.code, s.day_id FROM json_each(?) j CROSS JOIN stations s ON s.code = j.value"
	qStationAdd  = "INSERT INTO stations (code, day_id) VALUES (?, ?)"
	qStationDrop = "DELETE FROM stations WHERE code = ?"
)

// mostDays is how many days of one date DaysOn gives.
const mostDays = 100

type dayRow struct {
	ID       string
	TeamID   string
	On       string `gorm:"column:on_day"`
	Kind     string
	Plan     string
	Closed   int64
	Revision int
	Changed  int64
}

// TableName is the table of screening days.
func (dayRow) TableName() string { return "days" }

func (r *dayRow) dest() []any {
	return []any{&r.ID, &r.TeamID, &r.On, &r.Kind, &r.Plan, &r.Closed, &r.Revision, &r.Changed}
}

func (r *dayRow) key() [2]string { return [2]string{r.On, r.ID} }

// content is r without what the server sets.
func (r dayRow) content() dayRow {
	r.Revision, r.Changed = 0, 0
	return r
}

// The plan of a day as it is stored. The types are the store's own, so that a field that gets another
// name outside does not lose what is on file.
type (
	storedPlan struct {
		SideOrder screen.SideOrder `json:"side_order"`
		Every     int              `json:"every"`
		Stations  []storedStation  `json:"stations"`
	}
	storedStation struct {
		Code  string       `json:"code"`
		Name  string       `json:"name"`
		Steps []storedStep `json:"steps"`
	}
	storedStep struct {
		Kind    screen.StepKind `json:"kind"`
		Measure string          `json:"measure,omitempty"`
		Trials  int             `json:"trials,omitempty"`
	}
)

func dayRowOf(d *screen.Day) (dayRow, error) {
	plan := storedPlan{SideOrder: d.SideOrder, Every: d.Every, Stations: []storedStation{}}
	for _, st := range d.Stations {
		to := storedStation{Code: st.Code, Name: st.Name, Steps: []storedStep{}}
		for _, step := range st.Steps {
			to.Steps = append(to.Steps, storedStep(step))
		}
		plan.Stations = append(plan.Stations, to)
	}
	b, err := json.Marshal(plan)
	if err != nil {
		return dayRow{}, fmt.Errorf("store: plan of a day: %w", err)
	}
	return dayRow{ID: d.ID, TeamID: d.Team, On: string(d.On), Kind: string(d.Kind), Plan: string(b),
		Closed: micros(d.Closed), Revision: d.Revision, Changed: micros(d.Changed)}, nil
}

func (r *dayRow) day() (screen.Day, error) {
	d := screen.Day{ID: r.ID, Team: r.TeamID, On: screen.Date(r.On), Kind: screen.Kind(r.Kind),
		Stations: []screen.Station{}, Closed: instant(r.Closed), Revision: r.Revision, Changed: instant(r.Changed)}
	var plan storedPlan
	if err := json.Unmarshal([]byte(r.Plan), &plan); err != nil {
		return d, fmt.Errorf("store: plan of a day: %w", err)
	}
	d.SideOrder, d.Every = plan.SideOrder, plan.Every
	for _, st := range plan.Stations {
		to := screen.Station{Code: st.Code, Name: st.Name, Steps: []screen.Step{}}
		for _, step := range st.Steps {
			to.Steps = append(to.Steps, screen.Step(step))
		}
		d.Stations = append(d.Stations, to)
	}
	return d, nil
}

// days turns rows into days.
func days(rows []dayRow) ([]screen.Day, error) {
	out := make([]screen.Day, len(rows))
	for i := range rows {
		var err error
		if out[i], err = rows[i].day(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

type stationRow struct{ Code, DayID string }

func (r *stationRow) dest() []any { return []any{&r.Code, &r.DayID} }

// Day is the screening day with the id given. Returns NotFound if there is none.
func (tx *Tx) Day(id string) (screen.Day, error) { return tx.oneDay("screening day", qDay, id) }

// DayByStation is the screening day that has a station with the code given. Returns NotFound if there
// is none.
func (tx *Tx) DayByStation(code string) (screen.Day, error) {
	return tx.oneDay("station", qDayByStation, code)
}

// oneDay is the day that a query finds by what is called kind.
func (tx *Tx) oneDay(kind, query, id string) (screen.Day, error) {
	r, found, err := one[dayRow](tx, query, id)
	if err != nil {
		return screen.Day{}, err
	}
	if !found {
		return screen.Day{}, notFound(kind)
	}
	return r.day()
}

// TeamDays is a page of a team's screening days, newest first, and the mark of the next page ("" after
// the last one). Returns Invalid if p's mark is not one of ours.
func (tx *Tx) TeamDays(team string, p Page) ([]screen.Day, string, error) {
	rows, next, err := pageOf(tx, qTeamDays, p, afterAll, (*dayRow).key, team)
	if err != nil {
		return nil, "", err
	}
	out, err := days(rows)
	return out, next, err
}

// DaysOn lists the screening days of all teams on a date, by id, 100 at most.
func (tx *Tx) DaysOn(on screen.Date) ([]screen.Day, error) {
	rows, err := all[dayRow](tx, qDaysOn, string(on), mostDays)
	if err != nil {
		return nil, err
	}
	return days(rows)
}

// PutDay writes a screening day: a new one if ifRevision is 0, otherwise over the one that is at that
// revision; the codes of its stations lead to it, and so do those of stations that it no longer has.
// It sets d's Revision and Changed to what is on file, and reports whether anything was
// written: a day that says the same already is left alone, whatever its revision. Returns NotFound,
// Stale, Conflict (also if a station's code is one of another day), or Invalid if the team is not on
// record, if the day is to change its team or date, to which its screens belong, or for a code that
// cannot be kept or is there twice.
func (tx *Tx) PutDay(d *screen.Day, ifRevision int) (wrote bool, err error) {
	defer tx.fail(&err)
	if err := checkID("screening day", d.ID); err != nil {
		return false, err
	}
	old, found, err := one[dayRow](tx, qDay, d.ID)
	if err != nil {
		return false, err
	}
	r, err := dayRowOf(d)
	if err != nil {
		return false, err
	}
	wrote, err = decide("screening day", found, old.content() == r.content(), old.Revision, ifRevision)
	if err != nil {
		return false, err
	}
	if !wrote {
		*d, err = old.day()
		return false, err
	}
	if found && (old.TeamID != r.TeamID || old.On != r.On) {
		return false, &screen.Problem{Code: screen.Invalid,
			Text: "a screening day keeps its team and its date", Want: "plan a new screening day"}
	}
	r.Revision, r.Changed = old.Revision+1, tx.now()
	if err := tx.put(found, &r); err != nil {
		return false, tx.refused(err, "screening day", ref{"team", qTeamExists, d.Team})
	}
	if err := tx.putStations(d); err != nil {
		return false, err
	}
	*d, err = r.day()
	return err == nil, err
}

// DropStation lets a code lead nowhere any more. A device that kept something under it cannot send it.
func (tx *Tx) DropStation(code string) (err error) {
	defer tx.fail(&err)
	return tx.exec(qStationDrop, code)
}

// putStations has the codes of the day's stations lead to it. Those of stations that it no longer has
// stay: a device that is still without network sends what it kept under the old one.
func (tx *Tx) putStations(d *screen.Day) error {
	codes, wanted := make([]string, len(d.Stations)), map[string]bool{}
	for i, st := range d.Stations {
		if err := checkID("station", st.Code); err != nil {
			return err
		}
		if wanted[st.Code] {
			return &screen.Problem{Code: screen.Invalid,
				Text: "two stations of the day have the code " + st.Code, Want: "give each a code of its own"}
		}
		codes[i], wanted[st.Code] = st.Code, true
	}
	err := each(tx, qStationsIn, func(r *stationRow) error {
		if r.DayID != d.ID {
			return &screen.Problem{Code: screen.Conflict,
				Text: "a station of another screening day has the code " + r.Code, Want: "give the station another code"}
		}
		delete(wanted, r.Code)
		return nil
	}, idList(codes))
	if err != nil {
		return err
	}
	for _, code := range codes {
		if wanted[code] {
			if err := tx.exec(qStationAdd, code, d.ID); err != nil {
				return err
			}
		}
	}
	return nil
}
