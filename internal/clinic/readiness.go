package clinic

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// ReadyStatus says in one word what a coach may let an athlete do today.
type ReadyStatus string

// What a coach is told. Why somebody is on hold is never part of it, nor why the trainer is to be asked.
const (
	ReadyHold   ReadyStatus = "hold"
	ReadyLimits ReadyStatus = "limits"
	ReadyThrow  ReadyStatus = "may_throw"
	ReadyAsk    ReadyStatus = "ask_trainer"
)

var readyOrder = []ReadyStatus{ReadyHold, ReadyLimits, ReadyThrow, ReadyAsk}

var readyWords = map[ReadyStatus]string{
	ReadyHold:   "hold: waiting for clearance",
	ReadyLimits: "limits",
	ReadyThrow:  "may throw",
	ReadyAsk:    "ask the trainer",
}

// Readiness is what a coach needs of a team on a day. Nothing that was measured, reported or noted of an
// athlete is in it: no symptom, diagnosis, reading, probability or verdict.
type Readiness struct {
	Team   ReadyTeam    `json:"team"`
	Today  screen.Date  `json:"today"`
	Rows   []ReadyRow   `json:"items" nullable:"false" doc:"on hold, with limits, may throw, ask the trainer; in each by name"`
	Groups []FocusGroup `json:"groups" nullable:"false" doc:"athletes who share an item of the throwing mechanics, in the order of the throw"`
}

// ReadyTeam names the team.
type ReadyTeam struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// ReadyRow is an athlete. Of one without consent to share with the coach there are name, status and
// words alone, whether on hold or not.
type ReadyRow struct {
	Athlete   string       `json:"athlete,omitempty" doc:"absent without consent to share with the coach"`
	Name      string       `json:"name"`
	Positions []string     `json:"positions,omitempty"`
	Throws    screen.Hand  `json:"throws,omitempty" enum:"left,right,both"`
	Status    ReadyStatus  `json:"status" enum:"hold,limits,may_throw,ask_trainer"`
	Words     string       `json:"words" doc:"the status in words"`
	Limits    string       `json:"limits,omitempty" doc:"as the clinician who gave the clearance set them"`
	Focus     []ReadyFocus `json:"focus,omitempty" doc:"at most two, in the order of the throw; none on hold"`
}

// ReadyFocus is an item of the throwing-mechanics checklist to work on.
type ReadyFocus struct {
	Item  string `json:"item"`
	Phase string `json:"phase"`
	Words string `json:"words" doc:"what is to be seen, in the protocol's words"`
	With  string `json:"with_trainer,omitempty" doc:"part of the body that the trainer works on at the same time, in words"`
}

// FocusGroup are athletes who share an item.
type FocusGroup struct {
	Item     string      `json:"item"`
	Phase    string      `json:"phase"`
	Words    string      `json:"words"`
	Athletes []ReadyName `json:"athletes" nullable:"false" doc:"by name"`
}

// ReadyName names an athlete.
type ReadyName struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// Readiness lists the members that a team has today for its coach: who may throw, who is on hold, with
// which limits, and what to work on. Returns NotFound.
func (c *Clinic) Readiness(ctx context.Context, who Person, team string) (out Readiness, err error) {
	err = c.read(ctx, who, access.SeeReadiness, gate.Team(team), func(tx *store.Tx) error {
		t, err := tx.Team(team)
		if err != nil {
			return err
		}
		out = Readiness{Team: ReadyTeam{t.ID, t.Name}, Today: c.Today(), Groups: []FocusGroup{}}
		out.Rows, err = c.readyRows(tx, team)
		return err
	})
	slices.SortStableFunc(out.Rows, func(a, b ReadyRow) int {
		return cmp.Or(cmp.Compare(slices.Index(readyOrder, a.Status), slices.Index(readyOrder, b.Status)), strings.Compare(a.Name, b.Name))
	})
	out.group(c.Protocol())
	return out, err
}

// readyRows are those of a team's members. Records of who does not share with the coach are not read.
func (c *Clinic) readyRows(tx *store.Tx, team string) ([]ReadyRow, error) {
	members, ids, err := c.membersToday(tx, team)
	if err != nil {
		return nil, err
	}
	shares, err := c.sharesWithCoach(tx, ids)
	if err != nil {
		return nil, err
	}
	ids = slices.DeleteFunc(ids, func(id string) bool { return !shares[id] })
	last, err := newestOccasions(tx, members, shares)
	if err != nil {
		return nil, err
	}
	events, err := tx.EventsOf(ids)
	if err != nil {
		return nil, err
	}
	people, err := athletesOf(tx, team)
	if err != nil {
		return nil, err
	}
	by, rows := c.scorings(tx), make([]ReadyRow, len(members))
	for i := range members {
		m := &members[i]
		rows[i] = ReadyRow{Name: m.Name, Status: ReadyAsk, Words: readyWords[ReadyAsk]}
		if !shares[m.Athlete] {
			continue
		}
		a := people[m.Athlete]
		rows[i].Athlete, rows[i].Positions, rows[i].Throws = a.ID, a.Positions, a.HandOn(c.Today())
		if err := rows[i].look(by, last[m.Athlete], events[m.Athlete]); err != nil {
			return nil, err
		}
	}
	return rows, nil
}

// newestOccasions are the records of the newest day of each member who is wanted, those of one day as one.
func newestOccasions(tx *store.Tx, members []store.Latest, wanted map[string]bool) (map[string]*screen.Record, error) {
	var ids []string
	for i := range members {
		m := &members[i]
		if m.Screen == nil || !wanted[m.Athlete] {
			continue
		}
		list, _, err := tx.AthleteScreens(m.Athlete, Page{Limit: 50})
		if err != nil {
			return nil, err
		}
		for k := range list {
			if list[k].On == m.Screen.On {
				ids = append(ids, list[k].ID)
			}
		}
	}
	records, err := tx.Records(ids)
	if err != nil {
		return nil, err
	}
	of := map[string][]*screen.Record{}
	for _, rec := range records {
		of[rec.Athlete.ID] = append(of[rec.Athlete.ID], rec)
	}
	out := make(map[string]*screen.Record, len(of))
	for id, list := range of {
		out[id] = screen.Occasions(list)[0]
	}
	return out, nil
}

// look works out status and focus from the newest day, nil if there is none, and the events.
func (r *ReadyRow) look(by *scorings, rec *screen.Record, events []screen.Event) error {
	events = slices.DeleteFunc(slices.Clone(events), func(e screen.Event) bool { return !e.Stands() })
	var rep *score.Report
	var p *screen.Protocol
	pain, on := false, screen.Date("")
	if rec != nil {
		s, err := by.of(rec.Screen.Team)
		if err != nil {
			return err
		}
		rep, p = s.Score(rec), s.Protocol()
		pain, on = len(rep.Referral) > 0, rec.Screen.On
	}
	r.Limits = limitsOf(events)
	switch {
	case held(pain, on, events):
		r.Status, r.Limits = ReadyHold, ""
	case rec != nil && on > lastClearance(events) && by.c.toBeSeen(rec, rep):
		r.Limits = "" // what was allowed before the screen no longer is
	case r.Limits != "":
		r.Status = ReadyLimits
	case rec != nil:
		r.Status = ReadyThrow
	}
	r.Words = readyWords[r.Status]
	switch {
	case rec == nil && r.Status == ReadyAsk:
		r.Words = "not screened yet: ask the trainer"
	case r.Status == ReadyThrow, r.Status == ReadyLimits:
		r.Focus = focusOf(p, rep)
	}
	return nil
}

// toBeSeen reports whether somebody looks at the athlete before throwing goes on, short of a hold: what
// hurt while it was measured, or a deficit of which the protocol says so. The handout says it; a coach
// is not told the opposite.
func (c *Clinic) toBeSeen(rec *screen.Record, rep *score.Report) bool {
	if c.inPain(rec) != "" {
		return true
	}
	return slices.ContainsFunc(rep.Findings, func(f score.Finding) bool {
		return f.Verdict == score.Deficit && f.Counted && c.Protocol().Rule(f.Rule).OnDeficit != ""
	})
}

// lastClearance is the day of the newest clearance, empty if there is none.
func lastClearance(events []screen.Event) screen.Date {
	_, cleared := lastOf(events)
	return cleared
}

// limitsOf are those of the newest clearance: of those of one day, the one that was entered last.
func limitsOf(events []screen.Event) string {
	var last *screen.Event
	for i := range events {
		e := &events[i]
		if e.Kind != screen.EventClearance {
			continue
		}
		if last == nil || e.On > last.On || e.On == last.On && !e.Entered.Before(last.Entered) {
			last = e
		}
	}
	if last == nil {
		return ""
	}
	return last.Limits
}
