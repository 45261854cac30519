package clinic

import (
	"context"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

func as(role access.Role, team string) Person {
	return Person{ID: string(role) + "-" + team, Name: "Some " + string(role), Grants: []access.Grant{{Team: team, Role: role}}}
}

// teamsOf are the teams whose people look after an athlete.
func (c *Clinic) teamsNow(t *testing.T, athlete string) (out []string) {
	t.Helper()
	err := c.gate.Store().Read(context.Background(), func(tx *store.Tx) (err error) {
		out, err = tx.TeamsOf(athlete, c.Today())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// A trainer gets at nobody of another team by entering them for the own one: by id, by name and birth
// date, in a form, a roster, a file, on the list of a day.
func TestNobodyIsTakenFromAnotherTeam(t *testing.T) {
	c, ctx := squad(t), context.Background()
	trainer := as(access.Trainer, "t1")
	theirs := must[screen.Athlete](t)(c.Athlete(ctx, boss, "a2"))
	_, err := c.PutAthlete(ctx, trainer, theirs, "t1", 0)
	notTaken(t, c, "the same record again", err)
	_, err = c.PutAthlete(ctx, trainer, theirs, "t1", theirs.Revision)
	notTaken(t, c, "a change", err)
	err = c.PutMembership(ctx, trainer, screen.Membership{ID: "m", Team: "t1", Athlete: "a2"}, 0)
	notTaken(t, c, "a membership", err)
	_, err = c.PutScreen(ctx, trainer, screen.Screen{ID: "x", Athlete: "a2", Team: "t1", On: "2026-02-09", Kind: screen.Preseason}, 0)
	notTaken(t, c, "a screen", err)
	_, err = c.SaveVisit(ctx, trainer, Visit{Screen: screen.Screen{ID: "v", Athlete: "a2", Team: "t1", On: "2026-02-09", Kind: screen.Rehab}, Readings: []Entry{ir("r", screen.Left, 40)}})
	notTaken(t, c, "a visit", err)
	file := `{"athletes":[{"id":"a2","name":"Athlete a2","born":"2011-04-02","sex":"male","throws":"right","sport":"baseball","level":"school"}],"screens":[]}`
	got, err := c.Import(ctx, trainer, "t1", strings.NewReader(file), ImportOptions{})
	if err != nil || got.AthletesKnown != 0 { // a person of that name is entered as somebody new
		t.Errorf("a file: %+v, %v", got, err)
	}
	notTaken(t, c, "a file", &screen.Problem{Code: screen.NotFound})
	if got, err := c.Import(ctx, boss, "t1", strings.NewReader(strings.Replace(file, `"a2"`, `"zz"`, 1)), ImportOptions{}); err != nil || got.AthletesKnown != 1 {
		t.Errorf("one who looks after both teams: %+v, %v", got, err)
	}
}

func notTaken(t *testing.T, c *Clinic, what string, err error) {
	t.Helper()
	if !screen.IsCode(err, screen.NotFound) && !screen.IsCode(err, screen.Conflict) {
		t.Errorf("%s: %v", what, err)
	}
	if got := c.teamsNow(t, "a2"); !slices.Equal(got, []string{"t2"}) {
		t.Fatalf("%s: the athlete now belongs to %q", what, got)
	}
}

// In a roster, who is on record in another team is somebody new to those who have nothing to do with
// that team, and is found by those who have.
func TestRosterFindsOnlyOwn(t *testing.T) {
	c, ctx := squad(t), context.Background()
	both := Person{ID: "both", Grants: []access.Grant{{Team: "t1", Role: access.Trainer}, {Team: "t2", Role: access.Trainer}}}
	for _, x := range []struct {
		who  Person
		want RosterOutcome
	}{{as(access.Trainer, "t1"), RosterNew}, {as(access.Administrator, "t1"), RosterNew}, {both, RosterJoins}, {boss, RosterJoins}} {
		in := rosterOf(t, "Name,Born,Sex,Throws\nAthlete a2,2011-04-02,M,R\n")
		p, err := c.PreviewRoster(ctx, x.who, "t1", in)
		if err != nil || len(p.Lines) != 1 {
			t.Fatalf("%s: %+v, %v", x.who.ID, p, err)
		}
		if p.Lines[0].Outcome != x.want || x.want == RosterNew && p.Lines[0].With != nil {
			t.Errorf("%s: %s, %+v", x.who.ID, p.Lines[0].Outcome, p.Lines[0])
		}
	}
}

// The holder of a station's link puts a late comer on the list as somebody new, unless the team has an
// athlete of that name and birth date.
func TestWalkOnFindsOnlyTheTeams(t *testing.T) {
	r, ctx := newDay(t, 2), context.Background()
	must[screen.Team](t)(r.PutTeam(ctx, boss, screen.Team{ID: "t2", Name: "Other", Sport: "baseball"}, 0))
	theirs := must[screen.Athlete](t)(r.Athlete(ctx, boss, "a01"))
	theirs.ID, theirs.Name, theirs.Revision = "b01", "Of Another Team", 0
	must[screen.Athlete](t)(r.PutAthlete(ctx, boss, theirs, "t2", 0))
	link := Person{Station: "CHECK", Link: "station x"}
	walk := func(id, name string) StationEntry {
		e := r.entry(screen.DayWalkOn, id, "")
		e.Person = &WalkOn{Name: name, Born: theirs.Born, Sex: theirs.Sex, Level: theirs.Level, Hand: screen.RightHand}
		return e
	}
	out := must[BatchResult](t)(r.SaveEntries(ctx, link, "CHECK", Batch{Sent: r.sent, Device: r.dev, Entries: []StationEntry{walk("w1", theirs.Name), walk("w2", "Athlete 02")}}))
	for _, x := range out.Results {
		if x.Status != EntryAdded {
			t.Errorf("%+v", x)
		}
	}
	list := must[DayView](t)(r.Day(ctx, boss, "d1")).Athletes
	var ids []string
	for i := range list {
		ids = append(ids, list[i].Athlete)
	}
	if !slices.Equal(ids, []string{"a01", "a02", "w1"}) {
		t.Errorf("the list: %q", ids)
	}
	if got := r.teamsNow(t, "b01"); !slices.Equal(got, []string{"t2"}) {
		t.Errorf("the other team's athlete belongs to %q", got)
	}
}

// A hold is lifted by those who may clear: not by taking its reason back.
func TestHoldIsLiftedByClinicians(t *testing.T) {
	c, ctx := squad(t), context.Background()
	trainer, clinician := as(access.Trainer, "t1"), as(access.Clinician, "t1")
	sign := ""
	for _, s := range c.Protocol().Symptoms {
		if s.Referral {
			sign = s.ID
		}
	}
	must[Saved](t)(c.SaveSymptoms(ctx, trainer, "s1", []screen.Symptom{{ID: "y1", Symptom: sign, Side: screen.Left}}))
	_, _, err := c.PutEvent(ctx, trainer, screen.Event{ID: "e1", Athlete: "a1", On: "2026-02-09", Kind: screen.EventInjury})
	if err != nil {
		t.Fatal(err)
	}
	clear := screen.Event{ID: "e2", Athlete: "a1", On: "2026-02-10", Kind: screen.EventClearance, Note: "seen by the clinician"}
	if _, _, err := c.PutEvent(ctx, trainer, clear); !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("a trainer clears: %v", err)
	}
	if err := c.WithdrawEvent(ctx, trainer, "e1", "typo"); !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("a trainer takes an injury back: %v", err)
	}
	if err := c.WithdrawSymptom(ctx, trainer, "y1", "typo"); !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("a trainer takes a referral sign back: %v", err)
	}
	if err := c.Release(ctx, trainer, "d1", "a1", "looked at"); !screen.IsCode(err, screen.NotFound) && !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("a trainer releases: %v", err)
	}
	if _, _, err := c.PutEvent(ctx, clinician, clear); err != nil {
		t.Error(err)
	}
	if err := c.WithdrawEvent(ctx, trainer, "e2", "typo"); err != nil { // the hold is there again
		t.Error(err)
	}
	for _, err := range []error{c.WithdrawEvent(ctx, clinician, "e1", "typo"), c.WithdrawSymptom(ctx, clinician, "y1", "typo")} {
		if err != nil {
			t.Error(err)
		}
	}
}

// A revoked link leads nowhere, neither to the sheet nor for what a device kept; the new one works.
func TestRevokedStation(t *testing.T) {
	r, ctx := newDay(t, 2), context.Background()
	link := Person{Station: "SHOULDER", Link: "station x"}
	batch := Batch{Sent: r.sent, Device: r.dev, Entries: []StationEntry{r.reading("a02", irID, screen.Left, 50)}}
	d := must[screen.Day](t)(r.RenewStation(ctx, as(access.Trainer, "t1"), "d1", "SHOULDER", r.day.Revision))
	if _, err := r.SaveEntries(ctx, link, "SHOULDER", batch); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("entries: %v", err)
	}
	if _, err := r.Station(ctx, link, "SHOULDER"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("the sheet: %v", err)
	}
	code := d.Stations[1].Code
	if code == "SHOULDER" || code == "" || d.Stations[0].Code != "CHECK" {
		t.Fatalf("codes %+v", d.Stations)
	}
	link.Station = code
	if out, err := r.SaveEntries(ctx, link, code, batch); err != nil || out.Results[0].Status != EntryAdded {
		t.Errorf("by the new link: %+v, %v", out, err)
	}
	if _, err := r.RenewStation(ctx, as(access.Helper, "t1"), "d1", "CHECK", d.Revision); !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("a helper revokes: %v", err)
	}
	if _, err := r.RenewStation(ctx, boss, "d1", "SHOULDER", d.Revision); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("twice: %v", err)
	}
}

// Teams and open days are listed for those who have something to do with them.
func TestListsAreOwn(t *testing.T) {
	c, ctx := squad(t), context.Background()
	for _, x := range []struct {
		who  Person
		want int
	}{{as(access.Coach, "t2"), 1}, {as(access.Trainer, ""), 2}, {Person{ID: "x"}, 0}, {boss, 2}} {
		list, next, err := c.Teams(ctx, x.who, Page{Limit: 1})
		for err == nil && next != "" {
			var more []screen.Team
			more, next, err = c.Teams(ctx, x.who, Page{After: next, Limit: 1})
			list = append(list, more...)
		}
		if err != nil || len(list) != x.want {
			t.Errorf("%s: %d teams, %v", x.who.ID, len(list), err)
		}
	}
	r := newDay(t, 1)
	for _, x := range []struct {
		who  Person
		want int
	}{{as(access.Trainer, "t1"), 1}, {as(access.Helper, "t1"), 0}, {as(access.Trainer, "t2"), 0}} {
		if days, err := r.OpenDays(ctx, x.who); err != nil || len(days) != x.want {
			t.Errorf("%s: %d days, %v", x.who.ID, len(days), err)
		}
	}
}

// Who left for another team is no longer among those whose records a team's people get.
func TestWhoLeftIsGone(t *testing.T) {
	c, ctx := squad(t), context.Background()
	team := must[screen.Team](t)(c.Team(ctx, boss, "t1"))
	members := must[[]screen.Membership](t)(c.Members(ctx, boss, "t1"))
	m := members[0]
	m.To = "2026-02-01"
	if err := c.PutMembership(ctx, boss, m, team.Revision); err != nil {
		t.Fatal(err)
	}
	trainer := as(access.Trainer, "t1")
	if list, _, err := c.Athletes(ctx, trainer, "t1", Page{}); err != nil || len(list) != 1 {
		t.Errorf("between two seasons the team still looks after the athlete: %d, %v", len(list), err)
	}
	if err := c.PutMembership(ctx, boss, screen.Membership{ID: "moved", Team: "t2", Athlete: "a1"}, 0); err != nil {
		t.Fatal(err)
	}
	if list, _, err := c.Athletes(ctx, trainer, "t1", Page{}); err != nil || len(list) != 0 {
		t.Errorf("after leaving: %d, %v", len(list), err)
	}
	if doc, err := c.ExportDocument(ctx, trainer, "t1"); err != nil || len(doc.Athletes) != 0 {
		t.Errorf("the export has %d athletes, %v", len(doc.Athletes), err)
	}
	if _, err := c.Course(ctx, trainer, "a1"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("the course: %v", err)
	}
	if _, err := c.Course(ctx, as(access.Trainer, "t2"), "a1"); err != nil {
		t.Errorf("the new team: %v", err)
	}
}
