package clinic

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/storetest"
)

var boss = LocalAdministrator

// open is a clinic on a fresh file, in which everybody has a consent for screening, with a clock that
// stands still and ids that count up.
func open(t testing.TB) *Clinic {
	t.Helper()
	c, path := openFile(t)
	storetest.Consent(t, path)
	return c
}

// openFile is a clinic without consents, and its file.
func openFile(t testing.TB) (*Clinic, string) {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	now := func() time.Time { return time.Date(2026, 2, 10, 12, 0, 0, 0, time.UTC) }
	path := filepath.Join(t.TempDir(), "t.db")
	st, err := store.Open(context.Background(), path, store.Options{Now: now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	n := 0
	return New(st, score.New(p), now, func() string { n++; return fmt.Sprintf("id-%d", n) }), path
}

func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// squad has two teams with one athlete each and a screen of the first.
func squad(t testing.TB) *Clinic {
	t.Helper()
	c, ctx := open(t), context.Background()
	for _, id := range []string{"t1", "t2"} {
		must[screen.Team](t)(c.PutTeam(ctx, boss, screen.Team{ID: id, Name: "Team " + id, Sport: "baseball"}, 0))
	}
	for id, team := range map[string]string{"a1": "t1", "a2": "t2"} {
		a := screen.Athlete{ID: id, Name: "Athlete " + id, Born: "2011-04-02", Sex: screen.Male, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
		must[screen.Athlete](t)(c.PutAthlete(ctx, boss, a, team, 0))
	}
	must[screen.Screen](t)(c.PutScreen(ctx, boss, screen.Screen{ID: "s1", Athlete: "a1", Team: "t1", On: "2026-02-09", Kind: screen.Preseason}, 0))
	return c
}

func entry(id, measure string, side screen.Side, trials ...float64) Entry {
	return Entry{Reading: screen.Reading{ID: id, Measure: measure, Side: side, Trials: trials, Examiner: "k"}}
}

func ir(id string, side screen.Side, trials ...float64) Entry {
	return entry(id, "shoulder_internal_rotation", side, trials...)
}

func TestReadingsTwiceAreOnce(t *testing.T) {
	c, ctx := squad(t), context.Background()
	list := []Entry{ir("r1", screen.Right, 40, 42), ir("r2", screen.Left, 62, 60)}
	first := must[Saved](t)(c.SaveReadings(ctx, boss, "s1", list))
	again := must[Saved](t)(c.SaveReadings(ctx, boss, "s1", list))
	if first.Added != 2 || again.Added != 0 || again.Already != 2 || again.Revision != first.Revision {
		t.Errorf("%+v, then %+v", first, again)
	}
	list[0].Trials = []float64{50}
	if _, err := c.SaveReadings(ctx, boss, "s1", list); !screen.IsCode(err, screen.Conflict) {
		t.Errorf("the same id with another content: %v", err)
	}
}

func TestBadReadingsChangeNothing(t *testing.T) {
	c, ctx := squad(t), context.Background()
	for name, bad := range map[string]Entry{
		"range":    ir("r9", screen.Left, 190),
		"measure":  entry("r9", "shoulder_internl_rotation", screen.Left, 40),
		"twice":    ir("r1", screen.Left, 41),
		"sign":     entry("r9", "elbow_extension", screen.Left, 7),
		"no trial": ir("r9", screen.Left),
	} {
		_, err := c.SaveReadings(ctx, boss, "s1", []Entry{ir("r1", screen.Right, 40), bad})
		var f screen.Faults
		if !errors.As(err, &f) || !strings.HasPrefix(f[0].Where, "readings[1]") {
			t.Errorf("%s: %v", name, err)
		}
	}
	other := ir("r8", screen.Left, 40)
	other.Screen = "another"
	if _, err := c.SaveReadings(ctx, boss, "s1", []Entry{other}); !screen.IsCode(err, screen.Invalid) {
		t.Errorf("a reading of another screen: %v", err)
	}
	if rec := must[*screen.Record](t)(c.Record(ctx, boss, "s1")); len(rec.Readings) != 0 {
		t.Errorf("%d readings are on record", len(rec.Readings))
	}
}

func TestOverfullCell(t *testing.T) {
	c, ctx := squad(t), context.Background()
	var list []Entry
	for i := range maxPerCell + 1 {
		list = append(list, ir(fmt.Sprint("r", i), screen.Left, 40))
	}
	if _, err := c.SaveReadings(ctx, boss, "s1", list); !screen.IsCode(err, screen.Invalid) {
		t.Errorf("%v", err)
	}
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", list[:maxPerCell]))
}

func TestSignWordIsStoredAsSign(t *testing.T) {
	c, ctx := squad(t), context.Background()
	e := entry("r1", "elbow_extension", screen.Right, 6)
	e.Sign = "loss"
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", []Entry{e}))
	if rec := must[*screen.Record](t)(c.Record(ctx, boss, "s1")); rec.Readings[0].Trials[0] != -6 {
		t.Errorf("stored %v", rec.Readings[0].Trials)
	}
}

func TestCorrection(t *testing.T) {
	c, ctx := squad(t), context.Background()
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", []Entry{ir("r1", screen.Right, 14), ir("r2", screen.Left, 60)}))
	if _, err := c.Correct(ctx, boss, "r1", Entry{Reading: screen.Reading{Trials: []float64{41}}}); err == nil {
		t.Error("corrected without a reason")
	}
	got := must[screen.Reading](t)(c.Correct(ctx, boss, "r1", Entry{Reading: screen.Reading{Trials: []float64{41}, Why: "digits exchanged"}}))
	rec := must[*screen.Record](t)(c.Record(ctx, boss, "s1"))
	if len(rec.Readings) != 3 || len(rec.Current()) != 2 || got.Supersedes != "r1" || got.EnteredBy != boss.ID {
		t.Errorf("%+v", rec.Readings)
	}
	if _, err := c.Correct(ctx, boss, "r1", Entry{Reading: screen.Reading{Trials: []float64{44}, Why: "again"}}); !screen.IsCode(err, screen.Conflict) {
		t.Errorf("corrected twice: %v", err)
	}
	d := must[Assessment](t)(c.Score(ctx, boss, "s1")).Report.Findings[0].Difference
	if math.Abs(d-19) > 1e-9 {
		t.Errorf("the score has %g, want 60 − 41", d)
	}
}

func TestScreenOfAnotherTeam(t *testing.T) {
	c, ctx := squad(t), context.Background()
	_, err := c.PutScreen(ctx, boss, screen.Screen{ID: "s2", Athlete: "a1", Team: "t2", On: "2026-02-09", Kind: screen.Preseason}, 0)
	if !screen.IsCode(err, screen.Invalid) {
		t.Errorf("%v", err)
	}
}

func TestQuestionsUseTheLastScreen(t *testing.T) {
	c, ctx := squad(t), context.Background()
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", []Entry{ir("r1", screen.Left, 58)}))
	must[screen.Screen](t)(c.PutScreen(ctx, boss, screen.Screen{ID: "s2", Athlete: "a1", Team: "t1", On: "2026-02-10", Kind: screen.InSeason}, 0))
	got := must[Saved](t)(c.SaveReadings(ctx, boss, "s2", []Entry{ir("r2", screen.Left, 85)}))
	if !slices.ContainsFunc(got.Questions, func(q screen.Question) bool { return q.Kind == "digits_swapped" }) {
		t.Errorf("%+v", got)
	}
}

func TestTriageAndUnscreened(t *testing.T) {
	c, ctx := squad(t), context.Background()
	a := screen.Athlete{ID: "a3", Name: "Never screened", Born: "2012-01-01", Sex: screen.Female, Sport: "softball", Level: screen.Youth, Hands: []screen.HandSince{{Hand: screen.BothHands}}}
	must[screen.Athlete](t)(c.PutAthlete(ctx, boss, a, "t1", 0))
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", []Entry{ir("r1", screen.Right, 40), ir("r2", screen.Left, 62)}))
	got := must[Squad](t)(c.Triage(ctx, boss, "t1"))
	if len(got.Rows) != 1 || got.Rows[0].Name != "Athlete a1" || got.Rows[0].Report == nil || len(got.Unscreened) != 1 || got.Unscreened[0].ID != "a3" {
		t.Errorf("%+v", got)
	}
	if _, err := c.Triage(ctx, boss, "t9"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("%v", err)
	}
}

// A clinic whose angles end in 0 or 5 throughout is taken to read to 5°.
func TestHeapedClinic(t *testing.T) {
	c, ctx := squad(t), context.Background()
	se := func() float64 { return must[Assessment](t)(c.Score(ctx, boss, "s1")).Report.Findings[0].SE }
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", []Entry{ir("r1", screen.Right, 40), ir("r2", screen.Left, 60)}))
	fine := se()
	for s := range 6 {
		id := fmt.Sprint("h", s)
		must[screen.Screen](t)(c.PutScreen(ctx, boss, screen.Screen{ID: id, Athlete: "a1", Team: "t1", On: "2025-02-09", Kind: screen.InSeason}, 0))
		var list []Entry
		for i := range 10 {
			list = append(list, entry(fmt.Sprint(id, "-", i), "trunk_rotation", screen.Left, 45, 50))
		}
		must[Saved](t)(c.SaveReadings(ctx, boss, id, list))
	}
	if coarse := se(); coarse <= fine {
		t.Errorf("the error stayed at %g", coarse)
	}
}

func TestNobodyMayDoAnythingUnasked(t *testing.T) {
	c, ctx := squad(t), context.Background()
	nobody := Person{}
	_, _, err := c.Teams(ctx, nobody, Page{})
	_, err2 := c.SaveReadings(ctx, nobody, "s1", []Entry{ir("r1", screen.Left, 40)})
	_, err3 := c.Import(ctx, nobody, "t1", strings.NewReader("{}"), ImportOptions{})
	err4 := c.Export(ctx, nobody, "t1", func(*screen.Record) error { return nil })
	for i, e := range []error{err, err2, err3, err4} {
		if !screen.IsCode(e, screen.Unknown) {
			t.Errorf("call %d: %v", i, e)
		}
	}
}

const document = `{"athletes":[
 {"id":"p1","name":"Invented One","born":"2011-04-02","sex":"male","throws":"left","sport":"baseball","level":"school","height_cm":165,"mass_kg":55},
 {"id":"p2","name":"Athlete a1","born":"2011-04-02","sex":"male","throws":"right","sport":"baseball","level":"school"}],
 "screens":[{"id":"x1","athlete":"p1","on":"2026-02-01","kind":"preseason","readings":[
  {"measure":"shoulder_internal_rotation","side":"left","trials":[41,43],"examiner":"k"},
  {"measure":"shoulder_internal_rotation","side":"right","trials":[55,57],"examiner":"k"}],
  "checklist":[],"symptoms":[]},
  {"id":"x2","athlete":"p2","on":"2026-02-01","kind":"preseason","readings":[
  {"measure":"shoulder_internal_rotation","side":"left","trials":[58],"examiner":"k"}]}]}`

// The same document twice adds nothing; an athlete on record is found by name and birth date; what is
// exported comes in again as it was.
func TestImportTwiceAndExport(t *testing.T) {
	c, ctx := squad(t), context.Background()
	first := must[Imported](t)(c.Import(ctx, boss, "t1", strings.NewReader(document), ImportOptions{}))
	if first.Athletes != 1 || first.AthletesKnown != 1 || first.Screens != 2 || first.Readings != 3 {
		t.Errorf("%+v", first)
	}
	again := must[Imported](t)(c.Import(ctx, boss, "t1", strings.NewReader(document), ImportOptions{}))
	if again.Athletes != 0 || again.AthletesKnown != 2 || again.Screens != 0 || again.Readings != 0 || again.Already != 3 {
		t.Errorf("the second time: %+v", again)
	}
	elsewhere := must[Imported](t)(c.Import(ctx, boss, "t2", strings.NewReader(strings.ReplaceAll(document, "Athlete a1", "Athlete b1")), ImportOptions{}))
	if elsewhere.Screens != 2 {
		t.Errorf("another team's file with the same ids: %+v", elsewhere)
	}
	doc, err := c.ExportDocument(ctx, boss, "t1")
	if err != nil {
		t.Fatal(err)
	}
	if len(doc.Athletes) != 2 || len(doc.Records) != 3 {
		t.Errorf("%d athletes, %d screens", len(doc.Athletes), len(doc.Records))
	}
}

func TestFaultyImportChangesNothing(t *testing.T) {
	c, ctx := squad(t), context.Background()
	bad := strings.Replace(document, `"trials":[58]`, `"trials":[580]`, 1)
	var f screen.Faults
	if _, err := c.Import(ctx, boss, "t1", strings.NewReader(bad), ImportOptions{}); !errors.As(err, &f) || !strings.Contains(f[0].Where, "screens[1].readings[0].trials[0]") {
		t.Errorf("%v", err)
	}
	if _, err := c.ImportNew(ctx, boss, screen.Team{ID: "t3", Name: "New", Sport: "baseball"}, true, strings.NewReader(bad), ImportOptions{}); err == nil {
		t.Error("accepted")
	}
	teams, _, err := c.Teams(ctx, boss, Page{})
	if err != nil || len(teams) != 2 {
		t.Errorf("%d teams, %v", len(teams), err)
	}
	if list, _, err := c.Athletes(ctx, boss, "t1", Page{}); err != nil || len(list) != 1 {
		t.Errorf("%d athletes, %v", len(list), err)
	}
}
