package clinic

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

const (
	oda  = "Oda Quillfeather"
	note = "a note that says zweiundvierzig"
)

// full is a clinic in which everything there can be is on record of a01, who is called oda, and a
// little of a02.
func full(t testing.TB) (*dayRig, string) {
	t.Helper()
	c, path := openFile(t)
	r := dayOn(t, c, 2)
	ctx := context.Background()
	a := must[screen.Athlete](t)(c.Athlete(ctx, boss, "a01"))
	a.Name, a.ExternalID = oda, "X-77"
	must[screen.Athlete](t)(c.PutAthlete(ctx, boss, a, "", a.Revision))
	for id, giver := range map[string]string{"a01": "Guardian of " + oda, "a02": "Another Guardian"} {
		must[[]screen.Consent](t)(c.RecordConsent(ctx, boss, id, ConsentToRecord{Purposes: screen.Purposes(), On: "2026-01-02", GivenBy: screen.ByGuardian, Giver: giver}))
	}
	symptom := r.entry(screen.DaySymptom, "a01", c.Protocol().SymptomIDs()[0])
	symptom.Note = note
	skip := r.entry(screen.DayNotDone, "a01", erID)
	skip.Side, skip.Reason = screen.Left, screen.ReasonPain
	taken := r.reading("a01", irID, screen.Left, 40)
	undo := r.entry(screen.DayUndo, "a01", "")
	undo.Undoes = taken.ID
	answer := r.entry(screen.DayAnswer, "a01", c.Protocol().ItemIDs()[0])
	answer.Answer = screen.NotMet
	r.added("SHOULDER", taken, r.reading("a02", irID, screen.Left, 43), undo, r.reading("a01", irID, screen.Right, 45), skip)
	r.added("CHECK", r.entry(screen.DayCheckIn, "a01", ""), symptom)
	r.added("THROW", answer)
	fillMore(t, c)
	return r, path
}

// fillMore adds what a station does not send.
func fillMore(t testing.TB, c *Clinic) {
	t.Helper()
	ctx := context.Background()
	of := map[string]string{}
	for _, x := range must[DayView](t)(c.Day(ctx, boss, "d1")).Athletes {
		of[x.Athlete] = x.Screen
	}
	rec := must[*screen.Record](t)(c.Record(ctx, boss, of["a01"]))
	e := ir(c.NewID(), screen.Right, 46)
	e.Why = note
	must[screen.Reading](t)(c.Correct(ctx, boss, rec.Current()[0].ID, e))
	must[screen.Screen](t)(c.PutScreen(ctx, boss, screen.Screen{ID: "old", Athlete: "a01", Team: "t1", On: "2026-01-05", Kind: screen.Preseason, Note: note}, 0))
	if _, _, err := c.PutEvent(ctx, boss, screen.Event{ID: "ev", Athlete: "a01", On: "2026-01-06", Kind: screen.EventInjury, Note: note}); err != nil {
		t.Fatal(err)
	}
	prior := must[[]byte](t)(json.Marshal(score.SquadPrior{Team: "t1", On: "2026-02-10", Athletes: 2, Counted: []string{"a01", "a02"}, LeftOut: []score.LeftOut{{Athlete: "a01", Why: "x"}}}))
	var list []study.Reading
	for _, who := range []string{"a01", "X-77", "oda  QUILLFEATHER", "another"} {
		list = append(list, study.Reading{Athlete: who, Measure: irID, Side: screen.Left, Occasion: "2026-01-05", Trials: []float64{40}})
	}
	data := must[[]byte](t)(json.Marshal(list))
	err := c.gate.Store().Write(ctx, func(tx *store.Tx) error {
		_, err1 := tx.PutKeptPrior(screen.KeptPrior{ID: "pr", Team: "t1", On: "2026-02-10", Body: prior})
		_, err2 := tx.PutStudy(screen.KeptStudy{ID: "st", Team: "t1", Name: "a study", Body: []byte("{}"), Data: data})
		_, err3 := tx.PutHandouts([]screen.Handout{{ID: "ho", Day: "d1", Athlete: "a01", Screen: of["a01"], Body: []byte(`{"name":"` + oda + `"}`)}})
		err4 := tx.AddLink(&access.Link{Hash: strings.Repeat("f", 64), ID: "li", Kind: access.LinkFamily, Athlete: "a01", Name: "mother of " + oda, Made: c.now(), Expires: c.now().Add(time.Hour)})
		err5 := tx.PutRetentionHold("a01", "a claim is open", "u")
		return errors.Join(err1, err2, err3, err4, err5)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// columns calls fn with every text or blob in the file.
func columns(t testing.TB, path string, fn func(table, column, text string)) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	for _, table := range strs(t, db, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'") {
		for _, column := range strs(t, db, "SELECT name FROM pragma_table_info('"+table+"')") {
			for _, text := range strs(t, db, fmt.Sprintf("SELECT coalesce(CAST(%q AS TEXT), '') FROM %q", column, table)) {
				fn(table, column, text)
			}
		}
	}
}

func strs(t testing.TB, db *sql.DB, query string) (out []string) {
	t.Helper()
	rows, err := db.QueryContext(context.Background(), query)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		out = append(out, s)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// bytesOf are the database file and its log.
func bytesOf(t testing.TB, path string) string {
	t.Helper()
	all := ""
	for _, f := range []string{path, path + "-wal"} {
		b, err := os.ReadFile(f)
		if err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		all += string(b)
	}
	return all
}

// After an erasure the athlete's id stands in the audit alone, and neither the name nor a note is in the
// bytes of the file or its log.
func TestEraseAthlete(t *testing.T) {
	r, path := full(t)
	c, ctx := r.Clinic, context.Background()
	tables := map[string]bool{}
	columns(t, path, func(table, _, text string) {
		if strings.Contains(text, "a01") {
			tables[table] = true
		}
	})
	for _, want := range []string{"athletes", "hands", "memberships", "screens", "participants", "day_entries", "handouts", "events", "consents", "links", "retention_holds", "squad_priors", "studies", "audit"} {
		if !tables[want] {
			t.Errorf("before, nothing of the athlete is in %s: the test shows nothing of it", want)
		}
	}
	if all := bytesOf(t, path); !strings.Contains(all, oda) || !strings.Contains(all, note) {
		t.Fatal("before, name and note are not in the file: the test shows nothing")
	}
	seq := r.sheet("SHOULDER").Seq
	if _, err := c.EraseAthlete(ctx, boss, "a01", oda, "asked for by a guardian"); !screen.IsCode(err, screen.Invalid) || !strings.Contains(err.Error(), "a claim is open") {
		t.Errorf("while the records are held: %v", err)
	}
	if err := c.HoldRetention(ctx, boss, "a01", ""); err != nil {
		t.Fatal(err)
	}
	got := must[Erased](t)(c.EraseAthlete(ctx, boss, "a01", " oda  quillfeather ", "asked for by a guardian"))
	want := map[string]int{store.ErasedScreens: 2, store.ErasedReadings: 3, store.ErasedNotDone: 1, store.ErasedAnswers: 1, store.ErasedSymptoms: 1,
		store.ErasedEvents: 1, store.ErasedDayEntries: 7, store.ErasedPlaces: 1, store.ErasedHandouts: 1, store.ErasedConsents: 3, store.ErasedLinks: 1,
		store.ErasedMemberships: 1, store.ErasedPriors: 1, store.ErasedStudies: 1}
	if fmt.Sprint(got.Counts) != fmt.Sprint(want) || got.Rest != "" || got.Why != "asked for by a guardian" || got.ByName != boss.Name {
		t.Errorf("erased %v, want %v; %+v", got.Counts, want, got)
	}
	columns(t, path, func(table, column, text string) {
		if strings.Contains(text, "a01") && table != "audit" {
			t.Errorf("%s.%s still has %q", table, column, text)
		}
	})
	all := bytesOf(t, path)
	for _, gone := range []string{oda, strings.ToLower(oda), note, "X-77", "zweiundvierzig"} {
		if strings.Contains(all, gone) {
			t.Errorf("%q is still in the bytes of the file or its log", gone)
		}
	}
	if s := r.sheet("SHOULDER"); s.Seq <= seq || len(s.Athletes) != 1 || s.Athletes[0].Number != 2 || s.Athletes[0].Done[:1] != "x" {
		t.Errorf("the day afterwards: %+v at %d, before %d", s.Athletes, s.Seq, seq)
	}
	list := must[[]Erasure](t)(c.Erasures(ctx, boss))
	if len(list) != 1 || fmt.Sprint(list[0]) != fmt.Sprint(got.Erasure) {
		t.Errorf("%+v, want %+v", list, got.Erasure)
	}
	r.added("SHOULDER", r.reading("a02", irID, screen.Right, 44)) // the day goes on
}

// What is left of several athletes together, and the count of readings that end in 0 or 5.
func TestEraseLeavesTheOthers(t *testing.T) {
	r, _ := full(t)
	c, ctx := r.Clinic, context.Background()
	if err := c.HoldRetention(ctx, boss, "a01", ""); err != nil {
		t.Fatal(err)
	}
	digits := func() (five, total int) {
		err := c.gate.Store().Read(ctx, func(tx *store.Tx) (err error) { five, total, err = tx.Heaping("t1"); return err })
		if err != nil {
			t.Fatal(err)
		}
		return five, total
	}
	// 40, 45 and its correction 46 of a01, 43 of a02
	if five, total := digits(); five != 2 || total != 4 {
		t.Errorf("before: %d of %d", five, total)
	}
	must[Erased](t)(c.EraseAthlete(ctx, boss, "a01", oda, "the time is over"))
	if five, total := digits(); five != 0 || total != 1 {
		t.Errorf("after: %d of %d, want the one of the other", five, total)
	}
	err := c.gate.Store().Read(ctx, func(tx *store.Tx) error {
		p, err1 := tx.KeptPrior("pr")
		s, err2 := tx.Study("st")
		var prior score.SquadPrior
		var data []study.Reading
		err := errors.Join(err1, err2, json.Unmarshal(p.Body, &prior), json.Unmarshal(s.Data, &data))
		if prior.Athletes != 2 || !slices.Equal(prior.Counted, []string{"a02"}) || len(prior.LeftOut) != 0 {
			t.Errorf("the squad's figures: %+v", prior)
		}
		if len(data) != 1 || data[0].Athlete != "another" || string(s.Body) != "{}" {
			t.Errorf("the study: %+v", data)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Athlete(ctx, boss, "a01"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("the athlete afterwards: %v", err)
	}
	if _, err := c.EraseAthlete(ctx, boss, "a01", oda, "again"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("erased twice: %v", err)
	}
}

func TestErasureIsConfirmed(t *testing.T) {
	r, path := full(t)
	c, ctx := r.Clinic, context.Background()
	for what, in := range map[string][3]string{
		"another name":           {"Oda", "asked for", "confirm"},
		"no name":                {"", "asked for", "confirm"},
		"no reason":              {oda, " ", "why"},
		"the name as a reason":   {oda, "Quillfeather left", "why"},
		"a part with a comma":    {oda, "left: quillfeather, o.", "why"},
		"a reason without end":   {oda, strings.Repeat("x", screen.MaxNoteLen+1), "why"},
		"control signs in there": {oda, "a\x01b", "why"},
	} {
		_, err := c.EraseAthlete(ctx, boss, "a01", in[0], in[1])
		var f screen.Faults
		if !errors.As(err, &f) || len(f) != 1 || f[0].Where != in[2] {
			t.Errorf("%s: %v", what, err)
		}
	}
	for role, may := range map[access.Role]bool{access.Administrator: true, access.Clinician: false, access.Trainer: false} {
		for _, team := range []string{"", "t1"} {
			who := Person{ID: "u", Name: "U", Grants: []access.Grant{{Team: team, Role: role}}}
			_, err := c.PlanErasure(ctx, who, "a01")
			_, err2 := c.RetentionList(ctx, who)
			if ok := may && team == ""; ok != (err == nil) || ok != (err2 == nil) {
				t.Errorf("%s of %q: %v, %v", role, team, err, err2)
			}
		}
	}
	if !strings.Contains(bytesOf(t, path), oda) {
		t.Error("something was erased")
	}
}

// The plan counts what the erasure then removes.
func TestErasurePlan(t *testing.T) {
	r, _ := full(t)
	c, ctx := r.Clinic, context.Background()
	plan := must[ToErase](t)(c.PlanErasure(ctx, boss, "a01"))
	if plan.Hold == nil || plan.Hold.Why != "a claim is open" || len(plan.Teams) != 1 {
		t.Errorf("%+v", plan)
	}
	if err := c.HoldRetention(ctx, boss, "a01", ""); err != nil {
		t.Fatal(err)
	}
	got := must[Erased](t)(c.EraseAthlete(ctx, boss, "a01", oda, "asked for"))
	for _, x := range plan.Counts {
		if got.Counts[x.Kind] != x.N {
			t.Errorf("%s: %d planned, %d erased", x.Kind, x.N, got.Counts[x.Kind])
		}
	}
	if len(plan.Counts) != len(got.Counts)-2 { // the squad's figures and the study are not the athlete's alone
		t.Errorf("%v planned, %v erased", plan.Counts, got.Counts)
	}
}

// A second clinic on the same file has read the day before: it does not show the old log afterwards.
func TestErasedInAnotherProcess(t *testing.T) {
	r, path := full(t)
	c, ctx := r.Clinic, context.Background()
	st, err := store.Open(ctx, path, store.Options{Now: c.now})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = st.Close() }()
	other := &dayRig{Clinic: New(st, c.scorer, c.now, c.newID), t: t}
	if n := len(other.board().Rows); n != 2 {
		t.Fatalf("%d rows", n)
	}
	if err := c.HoldRetention(ctx, boss, "a01", ""); err != nil {
		t.Fatal(err)
	}
	must[Erased](t)(c.EraseAthlete(ctx, boss, "a01", oda, "asked for"))
	r.added("SHOULDER", r.reading("a02", irID, screen.Right, 44))
	if b := other.board(); len(b.Rows) != 1 || b.Rows[0].Cells[1].Taken != 2 || b.Stations[0].Filled != 0 {
		t.Errorf("%+v", b.Rows)
	}
	err = st.Read(ctx, func(tx *store.Tx) error {
		return other.logs.read(tx, "d1", func(l *dayLog) error {
			for _, row := range l.rows {
				if row.Athlete == "a01" {
					t.Errorf("the log still has %+v", row)
				}
			}
			return nil
		})
	})
	if err != nil {
		t.Fatal(err)
	}
}
