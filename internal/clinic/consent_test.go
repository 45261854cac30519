package clinic

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// unasked is a clinic with a member of each of two teams, without any consent: a1 is 14, a2 is 19.
func unasked(t testing.TB) *Clinic {
	t.Helper()
	c, _ := openFile(t)
	fillUnasked(t, c)
	return c
}

func fillUnasked(t testing.TB, c *Clinic) {
	t.Helper()
	ctx := context.Background()
	for i, id := range []string{"1", "2"} {
		must[screen.Team](t)(c.PutTeam(ctx, boss, screen.Team{ID: "t" + id, Name: "Team " + id, Sport: "baseball"}, 0))
		a := screen.Athlete{ID: "a" + id, Name: "Oda Quillfeather-" + id, Born: []screen.Date{"2011-04-02", "2006-11-05"}[i], Sex: screen.Female, Sport: "baseball",
			Level: screen.School, ExternalID: "X" + id, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
		must[screen.Athlete](t)(c.PutAthlete(ctx, boss, a, "t"+id, 0))
	}
}

// given records a guardian's consent of a1 for screening.
func given(t testing.TB, c *Clinic, on screen.Date) screen.Consent {
	t.Helper()
	return must[[]screen.Consent](t)(c.RecordConsent(context.Background(), boss, "a1",
		ConsentToRecord{Purposes: []screen.Purpose{screen.ForScreening}, On: on, GivenBy: screen.ByGuardian, Giver: "A. Quillfeather"}))[0]
}

func wantsNoConsent(t testing.TB, what string, err error) {
	t.Helper()
	if !screen.IsCode(err, screen.Invalid) || !strings.Contains(err.Error(), noConsent) {
		t.Errorf("%s without a consent: %v", what, err)
	}
}

// Every way by which something of a screen is stored, without a consent, with one, and after it was
// withdrawn.
func TestNothingIsStoredWithoutConsent(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	s := screen.Screen{ID: "s1", Athlete: "a1", Team: "t1", On: "2026-02-09", Kind: screen.Preseason}
	symptom := c.Protocol().SymptomIDs()[0]
	item := c.Protocol().ItemIDs()[0]
	store := map[string]func() error{
		"a visit": func() error {
			_, err := c.SaveVisit(ctx, boss, Visit{Screen: screen.Screen{Athlete: "a1", Team: "t1", On: "2026-02-08", Kind: screen.InSeason}, Readings: []Entry{ir("", screen.Left, 40)}})
			return err
		},
		"a screen": func() error {
			_, err := c.PutScreen(ctx, boss, screen.Screen{ID: "s" + c.NewID(), Athlete: "a1", Team: "t1", On: "2026-02-09", Kind: screen.Preseason}, 0)
			return err
		},
		"readings": func() error {

			_, err := c.SaveReadings(ctx, boss, "s1", []Entry{ir(c.NewID(), screen.Left, 40)})
			return err
		},
		"a checklist": func() error {
			_, err := c.SaveChecklist(ctx, boss, "s1", []screen.ChecklistAnswer{{ID: c.NewID(), Item: item, Answer: screen.Met}})
			return err
		},
		"symptoms": func() error {
			_, err := c.SaveSymptoms(ctx, boss, "s1", []screen.Symptom{{ID: c.NewID(), Symptom: symptom}})
			return err
		},
		"what was not done": func() error {
			_, err := c.SaveNotDone(ctx, boss, "s1", []screen.NotDone{{ID: c.NewID(), Measure: irID, Side: screen.Left, Reason: screen.ReasonPain}})
			return err
		},
		"a correction": func() error {
			e := ir(c.NewID(), screen.Left, 41)
			e.Why = "misread"
			rec, err := c.Record(ctx, boss, "s1")
			if err != nil {
				return err
			}
			current := rec.Current()
			_, err = c.Correct(ctx, boss, current[len(current)-1].ID, e)
			return err
		},
	}
	_, err := c.PutScreen(ctx, boss, s, 0)
	wantsNoConsent(t, "a screen", err)
	wantsNoConsent(t, "a visit", store["a visit"]())
	x := given(t, c, "2026-02-01")
	must[screen.Screen](t)(c.PutScreen(ctx, boss, s, 0))
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", []Entry{ir("r0", screen.Left, 39)}))
	for what, fn := range store {
		if err := fn(); err != nil {
			t.Errorf("%s with a consent: %v", what, err)
		}
	}
	must[screen.Consent](t)(c.WithdrawConsent(ctx, boss, x.ID, "2026-02-10", "the mother asked for it"))
	for what, fn := range store {
		wantsNoConsent(t, what+" after the withdrawal", fn())
	}
	if err := c.WithdrawSymptom(ctx, boss, must[*screen.Record](t)(c.Record(ctx, boss, "s1")).Symptoms[0].ID, "a mistake"); err != nil {
		t.Errorf("what was wrong can be taken back all the same: %v", err)
	}
}

// A screen of a day before the consent was given is not stored.
func TestConsentHoldsFromItsDay(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	given(t, c, "2026-02-05")
	for on, ok := range map[screen.Date]bool{"2026-02-04": false, "2026-02-05": true, "2026-02-10": true} {
		_, err := c.PutScreen(ctx, boss, screen.Screen{ID: "s" + string(on), Athlete: "a1", Team: "t1", On: on, Kind: screen.Preseason}, 0)
		if ok != (err == nil) {
			t.Errorf("a screen on %s: %v", on, err)
		}
	}
}

func TestRecordingAndWithdrawing(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	in := ConsentToRecord{ID: "c1", Purposes: screen.Purposes(), On: "2026-02-01", GivenBy: screen.ByGuardian}
	list := must[[]screen.Consent](t)(c.RecordConsent(ctx, boss, "a1", in))
	if len(list) != 3 || list[0].ID != "c1" || list[0].Version != exampleVersion || list[0].ByName != boss.Name || list[0].Recorded.IsZero() {
		t.Fatalf("%+v", list)
	}
	in.Purposes = in.Purposes[:1]
	if again := must[[]screen.Consent](t)(c.RecordConsent(ctx, boss, "a1", in)); len(again) != 1 || again[0] != list[0] {
		t.Errorf("sent twice: %+v", again)
	}
	given(t, c, "2026-02-03") // a second paper for the same
	got := must[AthleteConsents](t)(c.Consents(ctx, boss, "a1"))
	if p := got.Purposes[0]; len(p.All) != 2 || p.Now == nil || p.Now.On != "2026-02-03" || got.OfAge || got.Majority != 18 {
		t.Errorf("%+v", got)
	}
	must[screen.Consent](t)(c.WithdrawConsent(ctx, boss, "c1", "2026-02-09", "the father asked for it"))
	got = must[AthleteConsents](t)(c.Consents(ctx, boss, "a1"))
	if p := got.Purposes[0]; p.Now != nil || p.All[0].WithdrawnOn != "2026-02-09" || p.All[1].WithdrawnBy != boss.Name {
		t.Errorf("the purpose is withdrawn with one of its consents: %+v", p)
	}
	if got.Purposes[2].Now == nil {
		t.Error("another purpose is withdrawn too")
	}
	for what, fn := range map[string]func() error{
		"no reason": func() error { _, err := c.WithdrawConsent(ctx, boss, list[1].ID, "2026-02-09", " "); return err },
		"tomorrow":  func() error { _, err := c.WithdrawConsent(ctx, boss, list[1].ID, "2026-02-11", "x"); return err },
		"too early": func() error { _, err := c.WithdrawConsent(ctx, boss, list[1].ID, "2026-01-31", "x"); return err },
		"a text that there is not": func() error {
			_, err := c.RecordConsent(ctx, boss, "a1", ConsentToRecord{Purposes: screen.Purposes(), On: "2026-02-01", GivenBy: screen.ByGuardian, Version: "2019"})
			return err
		},
		"no purpose": func() error {
			_, err := c.RecordConsent(ctx, boss, "a1", ConsentToRecord{On: "2026-02-01", GivenBy: screen.ByGuardian})
			return err
		},
	} {
		var f screen.Faults
		if err := fn(); !errors.As(err, &f) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := c.WithdrawConsent(ctx, boss, "c1", "2026-02-08", "another reason"); !screen.IsCode(err, screen.Conflict) {
		t.Errorf("withdrawn twice: %v", err)
	}
	if _, err := c.WithdrawConsent(ctx, boss, "none", "2026-02-08", "x"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("no such consent: %v", err)
	}
}

func TestAgeOfMajority(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	own := ConsentToRecord{Purposes: []screen.Purpose{screen.ForCoach}, On: "2026-02-01", GivenBy: screen.ByAthlete}
	if _, err := c.RecordConsent(ctx, boss, "a1", own); err == nil {
		t.Error("a minor consents alone")
	}
	if err := c.SetConsentSettings(ctx, boss, ConsentSettings{Majority: 14}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.RecordConsent(ctx, boss, "a1", own); err != nil {
		t.Errorf("where 14 is the age of majority: %v", err)
	}
	for _, age := range []int{0, 13, 22} {
		if err := c.SetConsentSettings(ctx, boss, ConsentSettings{Majority: age}); err == nil {
			t.Errorf("an age of majority of %d", age)
		}
	}
	trainer := Person{ID: "tr", Name: "Trainer", Grants: []access.Grant{{Team: "t1", Role: access.Trainer}}}
	if err := c.SetConsentSettings(ctx, trainer, ConsentSettings{Majority: 16}); !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("a trainer sets the age: %v", err)
	}
}

func TestTeamConsents(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	paper := ConsentToRecord{Purposes: []screen.Purpose{screen.ForScreening, screen.ForCoach}, On: "2026-02-01", GivenBy: screen.ByGuardian}
	if n := must[int](t)(c.RecordTeamConsents(ctx, boss, "t1", []string{"a1"}, paper)); n != 2 {
		t.Errorf("%d consents", n)
	}
	if n := must[int](t)(c.RecordTeamConsents(ctx, boss, "t1", []string{"a1"}, paper)); n != 0 {
		t.Errorf("%d consents the second time", n)
	}
	got := must[TeamConsents](t)(c.TeamConsents(ctx, boss, "t1"))
	if len(got.Members) != 1 || got.Without(screen.ForScreening) != 0 || got.Without(screen.ForPhotographs) != 1 || got.Members[0].Now[screen.ForCoach] == nil {
		t.Errorf("%+v", got)
	}
	for what, fn := range map[string]func() error{
		"nobody":          func() error { _, err := c.RecordTeamConsents(ctx, boss, "t1", nil, paper); return err },
		"of another team": func() error { _, err := c.RecordTeamConsents(ctx, boss, "t1", []string{"a2"}, paper); return err },
		"of age":          func() error { _, err := c.RecordTeamConsents(ctx, boss, "t2", []string{"a2"}, paper); return err },
	} {
		var f screen.Faults
		if err := fn(); !errors.As(err, &f) || len(f) == 0 {
			t.Errorf("%s: %v", what, err)
		}
	}
	if got := must[TeamConsents](t)(c.TeamConsents(ctx, boss, "t2")); got.Without(screen.ForScreening) != 1 || !got.Members[0].OfAge {
		t.Errorf("nothing of the refused ones is kept: %+v", got)
	}
}

func TestSharesWithCoach(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	share := ConsentToRecord{ID: "c", Purposes: []screen.Purpose{screen.ForCoach}, On: "2026-02-01", GivenBy: screen.ByGuardian}
	must[[]screen.Consent](t)(c.RecordConsent(ctx, boss, "a1", share))
	shares := func() (out map[string]bool) {
		err := c.gate.Store().Read(ctx, func(tx *store.Tx) (err error) {
			out, err = c.sharesWithCoach(tx, []string{"a1", "a2", "nobody"})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	if got := shares(); !got["a1"] || got["a2"] || got["nobody"] {
		t.Errorf("%v", got)
	}
	must[screen.Consent](t)(c.WithdrawConsent(ctx, boss, "c", "2026-02-10", "asked for"))
	if got := shares(); got["a1"] {
		t.Error("withdrawn and still shared")
	}
}

func TestConsentTexts(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	list := must[[]screen.ConsentText](t)(c.ConsentTexts(ctx, boss))
	if len(list) != len(screen.Purposes()) {
		t.Fatalf("%d texts", len(list))
	}
	for _, x := range list {
		if x.Version != exampleVersion || !strings.HasPrefix(x.Body, "EXAMPLE. Check this text") {
			t.Errorf("%s: %q", x.Purpose, x.Body[:40])
		}
	}
	own := screen.ConsentText{Purpose: screen.ForScreening, Version: "2026-02", Body: "I agree.\r\nDate:"}
	own = must[screen.ConsentText](t)(c.AddConsentText(ctx, boss, own))
	if list = must[[]screen.ConsentText](t)(c.ConsentTexts(ctx, boss)); list[0].Version != "2026-02" || list[0].Body != "I agree.\nDate:" {
		t.Errorf("%+v", list[0])
	}
	if x := given(t, c, "2026-02-01"); x.Version != "2026-02" {
		t.Errorf("without a version the newest is meant: %q", x.Version)
	}
	again := own
	again.ID, again.Body = "", "Something else."
	if _, err := c.AddConsentText(ctx, boss, again); !screen.IsCode(err, screen.Conflict) {
		t.Errorf("the same version with another text: %v", err)
	}
	again.Version = exampleVersion
	if _, err := c.AddConsentText(ctx, boss, again); err == nil {
		t.Error("the example is replaced")
	}
}

const unaskedCSV = "athlete,date,measure,side,trial1\nX1,2026-02-09,shoulder_internal_rotation,left,40\nX1,2026-02-09,shoulder_internal_rotation,right,41\n"

func TestImportAsksForConsent(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	in := func(opt ImportOptions) (Imported, error) {
		return c.Import(ctx, boss, "t1", strings.NewReader(unaskedCSV), opt)
	}
	_, err := in(ImportOptions{})
	var f screen.Faults
	if !errors.As(err, &f) || len(f) != 1 || f[0].Where != "row 2, column athlete" || f[0].Problem != noConsent {
		t.Fatalf("%v", err)
	}
	if _, err := in(ImportOptions{Consent: &ConsentInHand{On: "2026-02-11"}}); !errors.As(err, &f) || f[0].Where != "on" {
		t.Errorf("given tomorrow: %v", err)
	}
	if _, err := in(ImportOptions{Consent: &ConsentInHand{On: "2026-02-10"}}); !errors.As(err, &f) || f[0].Where != "row 2, column athlete" {
		t.Errorf("given after the screen: %v", err)
	}
	if _, err := in(ImportOptions{Consent: &ConsentInHand{On: "2026-02-01", GivenBy: screen.ByAthlete}}); !errors.As(err, &f) || !strings.Contains(f[0].Problem, "not of age") {
		t.Errorf("given by a minor: %v", err)
	}
	got := must[Imported](t)(in(ImportOptions{Consent: &ConsentInHand{On: "2026-02-01"}}))
	if got.Consents != 1 || got.Readings != 2 {
		t.Errorf("%+v", got)
	}
	if got = must[Imported](t)(in(ImportOptions{Consent: &ConsentInHand{On: "2026-02-01"}})); got.Consents != 0 || got.Readings != 0 {
		t.Errorf("the second time: %+v", got)
	}
	x := must[AthleteConsents](t)(c.Consents(ctx, boss, "a1")).Purposes[0].Now
	must[screen.Consent](t)(c.WithdrawConsent(ctx, boss, x.ID, "2026-02-10", "asked for"))
	if _, err := in(ImportOptions{Consent: &ConsentInHand{On: "2026-02-01"}}); !errors.As(err, &f) || !strings.Contains(f[0].Problem, "withdrawn on 2026-02-10") {
		t.Errorf("a tick brings back what was withdrawn: %v", err)
	}
}

// A token may bring readings, and no consents.
func TestImportByTokenBringsNoConsent(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	program := Person{ID: "u", Name: "Program", Token: "t", Scopes: access.Scopes, Grants: []access.Grant{{Team: "t1", Role: access.Clinician}}}
	_, err := c.Import(ctx, program, "t1", strings.NewReader(unaskedCSV), ImportOptions{Consent: &ConsentInHand{On: "2026-02-01"}})
	if !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("%v", err)
	}
	given(t, c, "2026-02-01")
	if _, err := c.Import(ctx, program, "t1", strings.NewReader(unaskedCSV), ImportOptions{}); err != nil {
		t.Errorf("where there is a consent: %v", err)
	}
}

// A document carries consents with their withdrawals into another file.
func TestDocumentCarriesConsents(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	given(t, c, "2026-02-01")
	coach := must[[]screen.Consent](t)(c.RecordConsent(ctx, boss, "a1", ConsentToRecord{Purposes: []screen.Purpose{screen.ForCoach}, On: "2026-02-01", GivenBy: screen.ByGuardian}))
	must[screen.Consent](t)(c.WithdrawConsent(ctx, boss, coach[0].ID, "2026-02-05", "asked for"))
	must[Imported](t)(c.Import(ctx, boss, "t1", strings.NewReader(unaskedCSV), ImportOptions{}))
	doc := must[*exchange.Document](t)(c.ExportDocument(ctx, boss, "t1"))
	var out bytes.Buffer
	if err := exchange.WriteJSON(&out, c.Protocol(), doc); err != nil {
		t.Fatal(err)
	}
	d, _ := openFile(t)
	team := screen.Team{ID: "t1", Name: "Team", Sport: "baseball"}
	must[screen.Team](t)(d.PutTeam(ctx, boss, team, 0))
	got := must[Imported](t)(d.Import(ctx, boss, "t1", bytes.NewReader(out.Bytes()), ImportOptions{}))
	if got.Consents != 2 || got.Readings != 2 {
		t.Errorf("%+v", got)
	}
	list, _, err := d.Athletes(ctx, boss, "t1", Page{})
	if err != nil {
		t.Fatal(err)
	}
	x := must[AthleteConsents](t)(d.Consents(ctx, boss, list[0].ID))
	if x.Purposes[0].Now == nil || x.Purposes[2].Now != nil || x.Purposes[2].All[0].Why != "asked for" {
		t.Errorf("%+v", x)
	}
	if got = must[Imported](t)(d.Import(ctx, boss, "t1", bytes.NewReader(out.Bytes()), ImportOptions{})); got.Consents != 0 {
		t.Errorf("the second time: %+v", got)
	}
}

func TestRosterBringsConsents(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	text := "name,born,sex,throws,level,Consent date\nOda Quillfeather-1,2011-04-02,f,right,school,2026-02-02\nNew Person,2012-05-03,m,left,school,2026-02-03\nNo Paper,2012-05-04,m,left,school,\n"
	table := must[[]exchange.RosterTable](t)(exchange.ReadRosterFile(strings.NewReader(text), exchange.Options{}))[0]
	in := &RosterInput{Table: &table, Settings: exchange.RosterSettings{Means: exchange.Recognise(table.Headings), Sport: "baseball"}}
	p := must[*RosterPreview](t)(c.PreviewRoster(ctx, boss, "t1", in))
	if !p.Ready() || !strings.Contains(p.Lines[1].Note, "a consent for screening of 2026-02-03 is recorded") || p.Lines[2].Note != "" {
		t.Fatalf("%+v", p)
	}
	if p = must[*RosterPreview](t)(c.AddRoster(ctx, boss, "t1", in, p.Seen, false)); !p.Added {
		t.Fatalf("%+v", p)
	}
	got := must[TeamConsents](t)(c.TeamConsents(ctx, boss, "t1"))
	days := map[string]screen.Date{}
	for _, m := range got.Members {
		if x := m.Now[screen.ForScreening]; x != nil {
			days[m.Athlete.Name] = x.On
		}
	}
	if len(days) != 2 || days["New Person"] != "2026-02-03" || days["Oda Quillfeather-1"] != "2026-02-02" {
		t.Errorf("%v", days)
	}
}

// At a station: an athlete without a consent is marked, what is sent all the same is refused and does
// not hold up the others; a late comer is put on the list without one, and measured once it was seen at
// the desk.
func TestStationWithoutConsent(t *testing.T) {
	c, _ := openFile(t)
	r := dayOn(t, c, 2)
	ctx := context.Background()
	must[[]screen.Consent](t)(c.RecordConsent(ctx, boss, "a02", ConsentToRecord{Purposes: []screen.Purpose{screen.ForScreening}, On: "2026-02-01", GivenBy: screen.ByGuardian}))
	if r.athlete("SHOULDER", 1).Consent || !r.athlete("SHOULDER", 2).Consent {
		t.Error("the sheet does not tell who has a consent")
	}
	person := &WalkOn{Name: "Late Comer", Born: "2011-03-03", Sex: screen.Male, Hand: screen.RightHand, Level: screen.School}
	walk := r.entry(screen.DayWalkOn, "dev-1", "")
	walk.Person = person
	out := r.save("SHOULDER", r.reading("a01", irID, screen.Left, 40), walk, r.reading("a02", irID, screen.Left, 41), r.reading("dev-1", irID, screen.Left, 42))
	want := []string{EntryRefused, EntryAdded, EntryAdded, EntryRefused}
	for i, x := range out.Results {
		if x.Status != want[i] || x.Status == EntryRefused && (x.Problem != noConsent || x.Want == "") {
			t.Errorf("%d: %+v, want %s", i, x, want[i])
		}
	}
	check := r.entry(screen.DayCheckIn, "a01", "")
	if x := r.save("CHECK", check).Results[0]; x.Status != EntryRefused {
		t.Errorf("checked in without a consent: %+v", x)
	}
	b := r.board()
	if len(b.Without) != 2 || b.Without[0].Athlete != "a01" || b.Rows[0].Consent || !b.Rows[1].Consent || b.Stations[1].Of != 1 {
		t.Errorf("without: %+v, of %d", b.Without, b.Stations[1].Of)
	}
	seq := r.sheet("SHOULDER").Seq
	if err := c.ConsentAtDesk(ctx, boss, "d1", "dev-1"); err != nil {
		t.Fatal(err)
	}
	if s := r.sheet("SHOULDER"); s.Seq <= seq || !s.Athletes[2].Consent {
		t.Errorf("after the desk: %+v at %d, before %d", s.Athletes[2], s.Seq, seq)
	}
	if err := c.ConsentAtDesk(ctx, boss, "d1", "dev-1"); err != nil {
		t.Errorf("seen twice: %v", err)
	}
	r.added("SHOULDER", r.reading("dev-1", irID, screen.Left, 42))
	if got := must[AthleteConsents](t)(c.Consents(ctx, boss, "dev-1")); len(got.Purposes[0].All) != 1 || got.Purposes[0].Now.GivenBy != screen.ByGuardian {
		t.Errorf("%+v", got.Purposes[0])
	}
	if err := c.ConsentAtDesk(ctx, boss, "d1", "nobody"); !screen.IsCode(err, screen.NotFound) && !screen.IsCode(err, screen.Invalid) {
		t.Errorf("somebody who is not on the list: %v", err)
	}
	must[screen.Consent](t)(c.WithdrawConsent(ctx, boss, must[AthleteConsents](t)(c.Consents(ctx, boss, "a02")).Purposes[0].Now.ID, "2026-02-10", "left"))
	if r.athlete("SHOULDER", 2).Consent {
		t.Error("withdrawn and still measured")
	}
	if b := r.board(); b.Without[0].Withdrawn != "" || b.Without[1].Athlete != "a02" || b.Without[1].Withdrawn != "2026-02-10" {
		t.Errorf("the board does not say who withdrew: %+v", b.Without)
	}
	undo := r.entry(screen.DayUndo, "a02", "")
	undo.Undoes = out.Results[2].ID
	r.added("SHOULDER", undo) // what is there can be taken back
}

func TestWhoManagesConsent(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	given(t, c, "2026-02-01")
	for role, may := range map[access.Role]bool{access.Administrator: true, access.Clinician: true, access.Trainer: true, access.Coach: false, access.Helper: false} {
		who := Person{ID: string(role), Name: string(role), Grants: []access.Grant{{Team: "t1", Role: role}}}
		_, err := c.Consents(ctx, who, "a1")
		_, err2 := c.TeamConsents(ctx, who, "t1")
		_, err3 := c.RecordConsent(ctx, who, "a1", ConsentToRecord{Purposes: screen.Purposes(), On: "2026-02-02", GivenBy: screen.ByGuardian})
		for i, err := range []error{err, err2, err3} {
			if may != (err == nil) {
				t.Errorf("%s, %d: %v", role, i, err)
			}
		}
		if _, err := c.Consents(ctx, who, "a2"); err == nil {
			t.Errorf("%s sees another team's", role)
		}
	}
	var kinds []string
	err := c.gate.Store().Read(ctx, func(tx *store.Tx) error {
		return tx.FindAudit(&store.AuditQuery{Subject: "a1", Action: access.ManageConsent}, 0, func(e *access.Entry) (bool, error) {
			kinds = append(kinds, string(e.Outcome))
			return true, nil
		})
	})
	if err != nil || !slices.Contains(kinds, "done") || !slices.Contains(kinds, "refused") {
		t.Errorf("the audit has %v, %v", kinds, err)
	}
}
