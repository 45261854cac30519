package main

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/office"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// squadText is what is told apart of the two teams: the beginning of their ids, the words that stand in
// names and in notes, and the part behind the point of every value that was measured.
type squadText struct {
	pre, name, note, born string
	part                  float64
}

var (
	ownText   = squadText{"own", "Quillfeather", "marrowbone", "2010-03-07", 0.37}
	otherText = squadText{"oth", "Zephyrwood", "thistledown", "2010-04-09", 0.43}
	noText    = squadText{pre: "non"}
)

const (
	screenedOn = "2026-02-10"
	pastDayOn  = "2026-02-18" // its station links are past
	rolesToday = "2026-03-10"
)

// health are the texts that nobody sees who may not see a record: values as they were measured, and
// words of notes.
func (x *squadText) health() (out []string) {
	out = append(out, x.note)
	for _, v := range x.values() {
		out = append(out, fmt.Sprint(v))
	}
	return out
}

// foreign are the texts that nobody of another team reads.
func (x *squadText) foreign() []string {
	return append(x.health(), x.name, x.born, x.code("B"), x.code("P"))
}

func (x *squadText) code(station string) string {
	return map[string]string{"own": "QWN", "oth": "XTH", "non": "VQN"}[x.pre] + "DAY" + station + "2"
}

func (x *squadText) id(what string) string { return x.pre + "-" + what }

func (x *squadText) values() (out []float64) {
	for _, v := range []float64{41, 42, 43, 61, 62, 63, 110, 111, 112, 101, 102, 103, 31, 32, 33, 36, 37, 38} {
		out = append(out, v+x.part)
	}
	return out
}

// builder fills a file.
type builder struct {
	*premises
	who access.Person
}

func (b *builder) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func buildSite(t testing.TB) *site {
	s := &site{names: map[string]string{}, cookies: map[string]string{}, persons: map[string]access.Person{}, tokens: map[string]string{}}
	dir, err := os.MkdirTemp("", "evenhand-roles-")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	path := filepath.Join(dir, "site.db")
	b := &builder{openPremises(t, s, path, rolesNoon), access.Local}
	for _, x := range []*squadText{&ownText, &otherText} {
		b.team(x)
		b.screens(x)
		b.events(x)
		b.method(x)
		b.days(x)
	}
	b.left()
	b.accounts()
	for _, x := range []*squadText{&ownText, &otherText, &noText} {
		b.name(x)
	}
	b.must(b.opened.store.Close())
	if s.file, err = os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	return s
}

// athletesOf is how many athletes a team has: enough for a squad's figures.
const athletesOf = 5

// team makes a team with a season and athletes, who are members and gave their consents; the third one
// does not share with the coach.
func (b *builder) team(x *squadText) {
	ctx, cl := b.t.Context(), b.opened.clinic
	_, err := cl.PutTeam(ctx, b.who, screen.Team{ID: x.id("team"), Name: "Team " + x.name, Sport: "baseball"}, 0)
	b.must(err)
	b.must(cl.PutSeason(ctx, b.who, screen.Season{ID: x.id("season"), Team: x.id("team"), Name: "Season " + x.name, From: "2026-01-01", To: "2026-12-31"}, 1))
	for i := 1; i <= athletesOf; i++ {
		id := x.id(fmt.Sprintf("athlete%d", i))
		b.athlete(id, fmt.Sprintf("%c. %s", 'A'+i, x.name), x.born)
		t, err := cl.Team(ctx, b.who, x.id("team"))
		b.must(err)
		b.must(cl.PutMembership(ctx, b.who, screen.Membership{ID: x.id(fmt.Sprintf("member%d", i)), Team: x.id("team"), Athlete: id, Season: x.id("season")}, t.Revision))
		purposes := screen.Purposes()
		if i == 3 {
			purposes = []screen.Purpose{screen.ForScreening}
		}
		b.consent(x.id(fmt.Sprintf("consent%d", i)), id, purposes)
	}
}

func (b *builder) athlete(id, name, born string) {
	_, err := b.opened.clinic.PutAthlete(b.t.Context(), b.who, screen.Athlete{ID: id, Name: name, Born: screen.Date(born), Sex: screen.Male, Sport: "baseball",
		Hands: []screen.HandSince{{Hand: screen.RightHand}}, Positions: []string{"pitcher"}, Level: screen.School, HeightCM: 170, MassKG: 60}, "", 0)
	b.must(err)
}

func (b *builder) consent(id, athlete string, purposes []screen.Purpose) {
	_, err := b.opened.clinic.RecordConsent(b.t.Context(), b.who, athlete, clinic.ConsentToRecord{ID: id, Purposes: purposes, On: "2025-01-05",
		GivenBy: screen.ByGuardian, Giver: "A guardian"})
	b.must(err)
}

// screens gives every athlete a screen, with readings in the shoulder, the motion and a symptom.
func (b *builder) screens(x *squadText) {
	ctx, cl := b.t.Context(), b.opened.clinic
	for i := 1; i <= athletesOf; i++ {
		n := func(what string) string { return x.id(fmt.Sprintf("%s%d", what, i)) }
		_, err := cl.PutScreen(ctx, b.who, screen.Screen{ID: n("screen"), Athlete: n("athlete"), Team: x.id("team"), On: screenedOn, Kind: screen.Preseason,
			Examiner: "Examiner " + x.note, Note: "Screen note " + x.note}, 0)
		b.must(err)
		v := x.values()
		var list []clinic.Entry
		for k, r := range []struct {
			measure string
			side    screen.Side
			trials  []float64
		}{{"shoulder_internal_rotation", screen.Right, v[0:2]}, {"shoulder_internal_rotation", screen.Left, v[3:5]},
			{"shoulder_external_rotation", screen.Right, v[6:8]}, {"shoulder_external_rotation", screen.Left, v[9:11]}} {
			list = append(list, clinic.Entry{Reading: screen.Reading{ID: n(fmt.Sprintf("reading%d-", k)), Measure: r.measure, Side: r.side, Trials: r.trials, Examiner: "Examiner " + x.note}})
		}
		_, err = cl.SaveReadings(ctx, b.who, n("screen"), list)
		b.must(err)
		_, err = cl.SaveChecklist(ctx, b.who, n("screen"), []screen.ChecklistAnswer{{ID: n("answer"), Item: "leads_with_hips", Answer: "not_met", Examiner: "k"}})
		b.must(err)
		_, err = cl.SaveSymptoms(ctx, b.who, n("screen"), []screen.Symptom{{ID: n("symptom"), Symptom: "muscle_soreness", Side: screen.Right, Note: "Symptom note " + x.note}})
		b.must(err)
		_, err = cl.SaveNotDone(ctx, b.who, n("screen"), []screen.NotDone{{ID: n("notdone"), Measure: "grip_strength", Side: screen.Left, Reason: "pain"}})
		b.must(err)
	}
}

// events: the first athlete was injured and may throw with limits, the second is on hold.
func (b *builder) events(x *squadText) {
	for _, e := range []screen.Event{
		{ID: x.id("event"), Athlete: x.id("athlete1"), On: "2026-02-12", Kind: screen.EventTraining, Link: "shoulder", Note: "Training note " + x.note},
		{ID: x.id("injury"), Athlete: x.id("athlete1"), On: "2026-02-13", Kind: screen.EventInjury, Link: "elbow", Side: screen.Right, Note: "Injury note " + x.note},
		{ID: x.id("clearance"), Athlete: x.id("athlete1"), On: "2026-02-20", Kind: screen.EventClearance, Note: "Clearance note " + x.note, Limits: "Thirty throws at half effort"},
		{ID: x.id("injury2"), Athlete: x.id("athlete2"), On: "2026-02-14", Kind: screen.EventInjury, Link: "elbow", Note: "Injury note " + x.note},
	} {
		_, _, err := b.opened.clinic.PutEvent(b.t.Context(), b.who, e)
		b.must(err)
	}
}

// method keeps a study of repeated readings, uses its errors, and works out what is usual in the squad.
func (b *builder) method(x *squadText) {
	ctx, cl := b.t.Context(), b.opened.clinic
	var list []study.Reading
	for i := range 20 {
		for k := range 2 {
			list = append(list, study.Reading{Athlete: fmt.Sprintf("%s person %d", x.name, i), Measure: "shoulder_internal_rotation", Side: screen.Right, Examiner: "k",
				Occasion: "2026-02-01", Trials: []float64{x.values()[(i+k)%6]}})
		}
	}
	_, err := cl.KeepStudy(ctx, b.who, x.id("team"), clinic.StudyToKeep{ID: x.id("study"), Name: "Study " + x.name, Readings: list})
	b.must(err)
	_, err = cl.SwitchErrors(ctx, b.who, x.id("team"), x.id("study"), "Why "+x.note)
	b.must(err)
	_, err = cl.WorkOutSquad(ctx, b.who, x.id("team"), screenedOn)
	b.must(err)
}

// days are one of today with entries and handouts, and one whose station links are past.
func (b *builder) days(x *squadText) {
	ctx, cl := b.t.Context(), b.opened.clinic
	take := func(code, name string, steps ...screen.Step) screen.Station {
		return screen.Station{Code: code, Name: name, Steps: steps}
	}
	measure := func(id string) screen.Step { return screen.Step{Kind: screen.StepMeasure, Measure: id} }
	day := screen.Day{ID: x.id("past"), Team: x.id("team"), On: pastDayOn, Kind: screen.InSeason, SideOrder: screen.RightFirst,
		Stations: []screen.Station{take(x.code("P"), "Station P "+x.name, measure("hip_internal_rotation"))}}
	_, err := cl.PutDay(ctx, b.who, day, nil, 0)
	b.must(err)
	day.ID, day.On, day.Every = x.id("day"), rolesToday, 2
	day.Stations = []screen.Station{take(x.code("A"), "Station A "+x.name, screen.Step{Kind: screen.StepCheckIn}, measure("hip_internal_rotation")),
		take(x.code("B"), "Station B "+x.name, screen.Step{Kind: screen.StepChecklist})}
	_, err = cl.PutDay(ctx, b.who, day, nil, 0)
	b.must(err)
	v, batch := x.values(), clinic.Batch{Device: x.id("device")}
	for i := 1; i <= athletesOf; i++ {
		for round := 1; round <= 1+(i+1)%2; round++ { // every second one twice
			for k, side := range []screen.Side{screen.Right, screen.Left} {
				batch.Entries = append(batch.Entries, clinic.StationEntry{ID: x.id(fmt.Sprintf("entry%d-%d-%d", i, round, k)), Kind: screen.DayReading, Athlete: x.id(fmt.Sprintf("athlete%d", i)),
					Examiner: "Helper " + x.name, About: "hip_internal_rotation", Side: side, Trials: v[12+3*k : 14+3*k], Round: round})
			}
		}
	}
	out, err := cl.SaveEntries(ctx, b.who, x.code("A"), batch)
	b.must(err)
	for _, r := range out.Results {
		if r.Status != clinic.EntryAdded {
			b.t.Fatalf("an entry was %s: %s %s", r.Status, r.Where, r.Problem)
		}
	}
	made, err := cl.MakeHandouts(ctx, b.who, x.id("day"))
	if b.must(err); made == 0 {
		b.t.Fatal("no handouts were made")
	}
}

// left is an athlete who left own for the other team, and was screened in own.
func (b *builder) left() {
	ctx, cl := b.t.Context(), b.opened.clinic
	b.athlete("oth-athleteL", "L. "+otherText.name, otherText.born)
	b.consent("oth-consentL", "oth-athleteL", screen.Purposes())
	for i, x := range []*squadText{&ownText, &otherText} {
		t, err := cl.Team(ctx, b.who, x.id("team"))
		b.must(err)
		m := screen.Membership{ID: fmt.Sprintf("oth-memberL%d", i), Team: x.id("team"), Athlete: "oth-athleteL", From: "2025-01-01", To: "2025-12-31"}
		if i == 1 {
			m.From, m.To = "2026-01-01", ""
		}
		b.must(cl.PutMembership(ctx, b.who, m, t.Revision))
	}
	_, err := cl.PutScreen(ctx, b.who, screen.Screen{ID: "oth-screenL", Athlete: "oth-athleteL", Team: "oth-team", On: screenedOn, Kind: screen.Preseason, Note: "Screen note " + otherText.note}, 0)
	b.must(err)
	_, err = cl.SaveReadings(ctx, b.who, "oth-screenL", []clinic.Entry{{Reading: screen.Reading{ID: "oth-readingL", Measure: "shoulder_internal_rotation", Side: screen.Right, Trials: otherText.values()[:2]}}})
	b.must(err)
}

// rolesPassword fits every account.
const rolesPassword = "quiet gravel harbour 4711"

// accounts makes one account for each role: administrator of all, and in each team one of each role.
func (b *builder) accounts() {
	ctx, of := b.t.Context(), b.opened.office
	secret, _, err := of.Setup(ctx)
	b.must(err)
	in, err := of.TakeSetup(ctx, secret, office.NewAccount{Login: "chief", Name: "Chief of all", Password: rolesPassword})
	b.must(err)
	chief := in.Person
	b.account("chief", &in)
	for _, x := range []*squadText{&ownText, &otherText} {
		for _, r := range access.Roles {
			key := x.pre + " " + string(r)
			secret, err := of.Invite(ctx, chief, fmt.Sprintf("The %s of %s", r, x.name), []access.Grant{{Team: x.id("team"), Role: r}})
			b.must(err)
			in, err := of.TakeInvitation(ctx, secret, office.NewAccount{Login: x.pre + "-" + string(r), Name: fmt.Sprintf("The %s of %s", r, x.name), Password: rolesPassword})
			b.must(err)
			b.account(key, &in)
		}
		b.links(x, chief)
	}
	trainer := b.site.persons["own trainer"]
	for _, scope := range access.Scopes {
		b.site.tokens[string(scope)], err = of.MakeToken(ctx, trainer, "Token to "+string(scope), []access.Scope{scope}, "", 90)
		b.must(err)
	}
}

// account gives an account a second session, a token and a passkey.
func (b *builder) account(key string, in *office.SignedIn) {
	ctx, of := b.t.Context(), b.opened.office
	b.site.cookies[key], b.site.persons[key] = in.Cookie, in.Person
	own, err := of.Own(ctx, in.Person)
	b.must(err)
	second, err := of.SignIn(ctx, office.Attempt{Login: own.Account.Login, Password: rolesPassword, Address: "10.0.0.1", Device: "another browser"})
	b.must(err)
	_, err = of.MakeToken(ctx, in.Person, "A token", []access.Scope{access.ScopeRead}, "", 30)
	b.must(err)
	if own, err = of.Own(ctx, in.Person); err != nil || len(own.Tokens) != 1 {
		b.t.Fatalf("%v: %d tokens", err, len(own.Tokens))
	}
	passkey := access.Passkey{ID: "passkey-" + in.Person.ID, Account: in.Person.ID, Name: "A key", Credential: []byte("{}"), Created: rolesNoon}
	b.must(b.opened.store.Write(ctx, func(tx *store.Tx) error { return tx.AddPasskey(&passkey) }))
	b.site.names[key+" session"], b.site.names[key+" token"], b.site.names[key+" passkey"] = second.Person.Session, own.Tokens[0].ID, passkey.ID
}

// links are one of a family, an invitation and a reset that are open.
func (b *builder) links(x *squadText, chief access.Person) {
	ctx, of := b.t.Context(), b.opened.office
	names := b.site.names
	var err error
	names[x.pre+" family"], err = of.MakeFamilyLink(ctx, b.site.persons[x.pre+" trainer"], x.id("athlete1"), "Family of "+x.name, 30)
	b.must(err)
	list, err := of.FamilyLinks(ctx, b.site.persons[x.pre+" trainer"], x.id("athlete1"))
	b.must(err)
	names[x.pre+" link"] = list[0].ID
	names[x.pre+" invited"], err = of.Invite(ctx, chief, "Invited to "+x.name, []access.Grant{{Team: x.id("team"), Role: access.Trainer}})
	b.must(err)
	_, open, err := of.People(ctx, chief)
	b.must(err)
	for _, l := range open {
		if l.Kind == access.LinkInvitation && l.Name == "Invited to "+x.name {
			names[x.pre+" invitation"] = l.ID
		}
	}
	names[x.pre+" reset"], err = of.ResetLink(ctx, chief, b.site.persons[x.pre+" helper"].ID)
	b.must(err)
}

// name notes the names of what a team has. The ids of no team are made from those of own.
func (b *builder) name(x *squadText) {
	names, pre := b.site.names, map[string]string{"own": "", "oth": "other.", "non": "none."}[x.pre]
	for _, what := range []string{"team", "season", "event", "injury", "clearance", "day", "past", "study", "device"} {
		names[pre+what] = x.id(what)
	}
	for _, what := range []string{"athlete", "member", "screen", "symptom", "consent"} {
		names[pre+what] = x.id(what + "1")
		names[pre+what+"2"] = x.id(what + "2")
		names[pre+what+"3"] = x.id(what + "3")
	}
	names["left.athlete"] = "oth-athleteL"
	names[pre+"membership"], names[pre+"reading"] = x.id("member1"), x.id("reading0-1")
	names[pre+"code"], names[pre+"code.b"], names[pre+"code.past"] = x.code("A"), x.code("B"), x.code("P")
	of := func(key string) string { return names[x.pre+" "+key] }
	if x.pre == "non" {
		of = func(key string) string { return anotherOf(names["own "+key]) }
		names[pre+"account"] = anotherOf(names["account"])
	} else {
		names[pre+"account"] = b.site.persons[x.pre+" coach"].ID
	}
	for _, key := range []string{"family", "link", "invited", "invitation", "reset"} {
		names[pre+key] = of(key)
	}
	for _, key := range []string{"session", "token", "passkey"} {
		names[pre+key] = of("trainer " + key)
	}
	b.revisions(x, pre)
}

// anotherOf is a text like another one, of which there is none.
func anotherOf(text string) string {
	out := []byte(text)
	for i := range out[:len(out)-1] { // the last character of a secret has bits to spare
		if out[i] >= '0' && out[i] <= '8' {
			out[i]++
		}
	}
	return string(out)
}

// revisions notes at which revision what can be changed is.
func (b *builder) revisions(x *squadText, pre string) {
	if x.pre == "non" {
		for _, what := range []string{"team", "athlete", "screen", "day"} {
			b.site.names[pre+"rev."+what] = b.site.names["rev."+what]
		}
		return
	}
	b.must(b.opened.store.Read(b.t.Context(), func(tx *store.Tx) error {
		t, err := tx.Team(x.id("team"))
		b.must(err)
		a, err := tx.Athlete(x.id("athlete1"))
		b.must(err)
		s, err := tx.Screen(x.id("screen1"))
		b.must(err)
		d, err := tx.Day(x.id("day"))
		for what, n := range map[string]int{"team": t.Revision, "athlete": a.Revision, "screen": s.Revision, "day": d.Revision} {
			b.site.names[pre+"rev."+what] = fmt.Sprint(n)
		}
		return err
	}))
}
