package clinic

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// Held is everything that is held about one athlete, also what was corrected, withdrawn or answered anew
// since: a copy to hand out.
type Held struct {
	About       string               `json:"about"`
	Made        time.Time            `json:"made"`
	Protocol    string               `json:"protocol" doc:"in use when this was made"`
	Athlete     screen.Athlete       `json:"athlete"`
	Memberships []HeldMembership     `json:"memberships" nullable:"false"`
	Screens     []HeldScreen         `json:"screens" nullable:"false" doc:"by day"`
	Events      []screen.Event       `json:"events" nullable:"false"`
	Consents    []screen.Consent     `json:"consents" nullable:"false"`
	Texts       []screen.ConsentText `json:"consent_texts" nullable:"false" doc:"that were agreed to, as far as they are on record"`
	Days        []screen.Participant `json:"screening_days" nullable:"false" doc:"places on lists of screening days"`
	Entries     []screen.DayEntry    `json:"entries" nullable:"false" doc:"what stations sent on those days"`
	Handouts    []HeldHandout        `json:"handouts" nullable:"false"`
	Links       []HeldLink           `json:"links" nullable:"false" doc:"by which the athlete or a guardian sees the handout; without what opens them"`
	Hold        *store.RetentionHold `json:"retention_hold,omitempty" doc:"why the records are kept although they may fall due"`
	Figures     []HeldFigure         `json:"squad_figures" nullable:"false" doc:"figures of a whole squad that the athlete is counted in or left out of"`
	Studies     []HeldStudy          `json:"retest_studies" nullable:"false" doc:"studies of measurement error that readings of the athlete went into"`
	Audit       []access.Entry       `json:"audit" nullable:"false" doc:"who looked at or changed what, the newest first"`
	AuditNote   string               `json:"audit_note"`
}

// HeldMembership is a membership with the team's name.
type HeldMembership struct {
	screen.Membership
	TeamName string `json:"team_name"`
}

// HeldScreen is a screen with all that was ever entered at it.
type HeldScreen struct {
	screen.Screen
	Readings  []screen.Reading    `json:"readings" nullable:"false"`
	NotDone   []store.NotDoneHeld `json:"not_done" nullable:"false"`
	Checklist []store.AnswerHeld  `json:"checklist" nullable:"false"`
	Symptoms  []screen.Symptom    `json:"symptoms" nullable:"false"`
}

// HeldHandout is a copy of what was printed.
type HeldHandout struct {
	ID       string    `json:"id"`
	Day      string    `json:"day"`
	Screen   string    `json:"screen"`
	Protocol string    `json:"protocol"`
	Made     time.Time `json:"made"`
	By       string    `json:"by"`
	Text     any       `json:"text"`
}

// HeldLink is a link without what opens it.
type HeldLink struct {
	ID      string    `json:"id"`
	Name    string    `json:"name" doc:"of whom it is for"`
	Made    time.Time `json:"made"`
	By      string    `json:"by"`
	Expires time.Time `json:"expires"`
	Used    time.Time `json:"used,omitzero"`
	Revoked time.Time `json:"revoked,omitzero"`
}

// HeldFigure names figures of what was usual in a squad on a day.
type HeldFigure struct {
	Team    string      `json:"team"`
	On      screen.Date `json:"on"`
	Made    time.Time   `json:"made"`
	Counted bool        `json:"counted"`
	LeftOut string      `json:"left_out,omitempty" doc:"why the athlete is not counted"`
}

// HeldStudy names a study with the readings of the athlete that it keeps.
type HeldStudy struct {
	Team     string          `json:"team"`
	Name     string          `json:"name"`
	Made     time.Time       `json:"made"`
	Readings []study.Reading `json:"readings" nullable:"false" doc:"that the study keeps itself; none if it was worked out from the screens"`
}

// Held gathers everything that is held about an athlete. Returns NotFound.
func (c *Clinic) Held(ctx context.Context, who Person, athlete string) (out Held, err error) {
	err = c.read(ctx, who, access.ExportAthlete, gate.Athlete(athlete), func(tx *store.Tx) error {
		all, err := tx.HeldOf(athlete)
		if err != nil {
			return err
		}
		out, err = c.held(tx, &all)
		return err
	})
	return out, err
}

func (c *Clinic) held(tx *store.Tx, all *store.Held) (out Held, err error) {
	out = Held{About: "everything that this evenhand holds about one athlete", Made: c.now().UTC(), Protocol: c.Protocol().NameAndVersion(),
		Athlete: all.Athlete, Screens: heldScreens(all), Events: filled(all.Events), Consents: filled(all.Consents), Days: filled(all.Places),
		Entries: filled(all.Entries), Links: heldLinks(all.Links), Hold: all.Hold, AuditNote: auditNote}
	if out.Handouts, err = heldHandouts(all.Handouts); err != nil {
		return out, err
	}
	if out.Texts, err = agreedTexts(tx, all.Consents); err != nil {
		return out, err
	}
	out.Memberships = []HeldMembership{}
	for _, m := range all.Memberships {
		t, err := tx.Team(m.Team)
		if err != nil {
			return out, err
		}
		out.Memberships = append(out.Memberships, HeldMembership{m, t.Name})
	}
	if err := heldInTeams(tx, all, &out); err != nil {
		return out, err
	}
	out.Audit, err = auditAbout(tx, all)
	return out, err
}

const auditNote = "Entries about the athlete and about each of the athlete's screens, readings, symptoms, events, consents and handouts. A look at a list of a whole team, such as its triage or a screening day, is noted once for the team and is not in this list."

// filled is a list that is written as [] where it is empty.
func filled[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

func heldScreens(all *store.Held) []HeldScreen {
	out, at := make([]HeldScreen, len(all.Records)), make(map[string]int, len(all.Records))
	for i := range all.Records {
		r := &all.Records[i]
		at[r.Screen.ID] = i
		out[i] = HeldScreen{Screen: r.Screen, Readings: filled(r.Readings), Symptoms: filled(r.Symptoms),
			NotDone: []store.NotDoneHeld{}, Checklist: []store.AnswerHeld{}}
	}
	for _, n := range all.NotDone {
		s := &out[at[n.Screen]]
		s.NotDone = append(s.NotDone, n)
	}
	for _, x := range all.Checklist {
		s := &out[at[x.Screen]]
		s.Checklist = append(s.Checklist, x)
	}
	return out
}

func heldHandouts(list []screen.Handout) ([]HeldHandout, error) {
	out := make([]HeldHandout, len(list))
	for i := range list {
		h := &list[i]
		out[i] = HeldHandout{ID: h.ID, Day: h.Day, Screen: h.Screen, Protocol: h.Protocol, Made: h.Made, By: h.By}
		if err := json.Unmarshal(h.Body, &out[i].Text); err != nil {
			return nil, fmt.Errorf("clinic: read a handout: %w", err)
		}
	}
	return out, nil
}

func heldLinks(list []access.Link) []HeldLink {
	out := make([]HeldLink, len(list))
	for i := range list {
		l := &list[i]
		out[i] = HeldLink{ID: l.ID, Name: l.Name, Made: l.Made, By: l.By, Expires: l.Expires, Used: l.Used, Revoked: l.Revoked}
	}
	return out
}

// agreedTexts are the texts that consents name.
func agreedTexts(tx *store.Tx, consents []screen.Consent) ([]screen.ConsentText, error) {
	out := []screen.ConsentText{}
	for _, p := range screen.Purposes() {
		texts, err := consentTexts(tx, p)
		if err != nil {
			return nil, err
		}
		for _, t := range texts {
			if slices.ContainsFunc(consents, func(x screen.Consent) bool { return x.Purpose == p && x.Version == t.Version }) {
				out = append(out, t)
			}
		}
	}
	return out, nil
}

// heldInTeams finds the figures and studies of teams that an athlete is in.
func heldInTeams(tx *store.Tx, all *store.Held, out *Held) error {
	out.Figures, out.Studies = []HeldFigure{}, []HeldStudy{}
	teams, err := tx.AllTeamsOf(all.Athlete.ID)
	if err != nil {
		return err
	}
	for _, team := range teams {
		_, err := tx.EachPrior(team, func(p *screen.KeptPrior) ([]byte, error) {
			return nil, addFigure(out, p)
		})
		if err != nil {
			return err
		}
		_, err = tx.EachStudy(team, func(s *screen.KeptStudy) (body, data []byte, err error) {
			return nil, nil, addStudy(out, s)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func addFigure(out *Held, p *screen.KeptPrior) error {
	var body score.SquadPrior
	if err := json.Unmarshal(p.Body, &body); err != nil {
		return fmt.Errorf("clinic: read what is usual in a squad: %w", err)
	}
	f := HeldFigure{Team: p.Team, On: p.On, Made: p.Made, Counted: slices.Contains(body.Counted, out.Athlete.ID)}
	for _, x := range body.LeftOut {
		if x.Athlete == out.Athlete.ID {
			f.LeftOut = x.Why
		}
	}
	if f.Counted || f.LeftOut != "" {
		out.Figures = append(out.Figures, f)
	}
	return nil
}

func addStudy(out *Held, s *screen.KeptStudy) error {
	x := HeldStudy{Team: s.Team, Name: s.Name, Made: s.Made, Readings: []study.Reading{}}
	if len(s.Data) == 0 { // of the team's records between two days
		if slices.ContainsFunc(out.Screens, func(y HeldScreen) bool { return y.Team == s.Team && y.On >= s.From && y.On <= s.To }) {
			out.Studies = append(out.Studies, x)
		}
		return nil
	}
	var list []study.Reading
	if err := json.Unmarshal(s.Data, &list); err != nil {
		return fmt.Errorf("clinic: read the readings of a study: %w", err)
	}
	for _, r := range list {
		if isLabelOf(r.Athlete, &out.Athlete) {
			x.Readings = append(x.Readings, r)
		}
	}
	if len(x.Readings) > 0 {
		out.Studies = append(out.Studies, x)
	}
	return nil
}

// auditAbout is what the audit says of an athlete and of each of the athlete's records, the newest first.
func auditAbout(tx *store.Tx, all *store.Held) ([]access.Entry, error) {
	ids := []string{all.Athlete.ID}
	for i := range all.Records {
		r := &all.Records[i]
		ids = append(ids, r.Screen.ID)
		for k := range r.Readings {
			ids = append(ids, r.Readings[k].ID)
		}
		for k := range r.Symptoms {
			ids = append(ids, r.Symptoms[k].ID)
		}
	}
	for i := range all.Events {
		ids = append(ids, all.Events[i].ID)
	}
	for i := range all.Consents {
		ids = append(ids, all.Consents[i].ID)
	}
	for i := range all.Handouts {
		ids = append(ids, all.Handouts[i].ID)
	}
	out := []access.Entry{}
	for _, id := range ids {
		err := tx.FindAudit(&store.AuditQuery{Subject: id}, 0, func(e *access.Entry) (bool, error) {
			out = append(out, *e)
			return true, nil
		})
		if err != nil {
			return nil, err
		}
	}
	slices.SortFunc(out, func(a, b access.Entry) int { return int(b.Seq - a.Seq) })
	return slices.CompactFunc(out, func(a, b access.Entry) bool { return a.Seq == b.Seq }), nil
}
