package clinic

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// coachOf is a coach of one team.
func coachOf(team string) Person {
	return Person{ID: "coach", Name: "Coach", Grants: []access.Grant{{Team: team, Role: access.Coach}}}
}

// put writes past the use cases, as years of entries would have left it.
func (c *Clinic) put(t testing.TB, fn func(*store.Tx) error) {
	t.Helper()
	if err := c.gate.Store().Write(context.Background(), fn); err != nil {
		t.Fatal(err)
	}
}

// agree puts consents of long ago on record.
func (c *Clinic) agree(t testing.TB, athlete string, purposes ...screen.Purpose) {
	t.Helper()
	c.put(t, func(tx *store.Tx) error {
		for _, p := range purposes {
			x := screen.Consent{ID: c.newID(), Athlete: athlete, Purpose: p, On: "2025-01-01", Version: "example 1", GivenBy: screen.ByGuardian}
			if _, err := tx.PutConsent(x); err != nil {
				return err
			}
		}
		return nil
	})
}

// ready is a team with athletes of whom the coach may know.
type ready struct {
	*Clinic
	t testing.TB
}

func newReady(t testing.TB, athletes ...string) *ready {
	t.Helper()
	r := &ready{open(t), t}
	r.put(t, func(tx *store.Tx) error {
		if _, err := tx.PutTeam(&screen.Team{ID: "t1", Name: "Team", Sport: "baseball"}, 0); err != nil {
			return err
		}
		for _, id := range athletes {
			a := screen.Athlete{ID: id, Name: "Name of " + id, Born: "2011-04-07", Sex: screen.Male, Sport: "baseball", Level: screen.School,
				Positions: []string{"pitcher"}, Hands: []screen.HandSince{{Hand: screen.RightHand}}, HeightCM: 171.3, MassKG: 63.9, ExternalID: "EXT-" + id}
			if _, err := tx.PutAthlete(&a, 0); err != nil {
				return err
			}
			if _, err := tx.PutMembership(screen.Membership{ID: "m" + id, Team: "t1", Athlete: id}, 0); err != nil {
				return err
			}
		}
		return nil
	})
	for _, id := range athletes {
		r.agree(t, id, screen.ForScreening, screen.ForCoach)
	}
	return r
}

// screened is a preseason screen on a day with items that were not met.
func (r *ready) screened(athlete string, on screen.Date, notMet ...string) string {
	r.t.Helper()
	id := "screen-" + athlete + string(on)
	r.put(r.t, func(tx *store.Tx) error {
		s := screen.Screen{ID: id, Athlete: athlete, Team: "t1", On: on, Kind: screen.Preseason, Examiner: "Ex Aminer", Note: "a note of the screen"}
		if _, err := tx.PutScreen(&s, 0); err != nil {
			return err
		}
		var answers []screen.ChecklistAnswer
		for _, item := range notMet {
			answers = append(answers, screen.ChecklistAnswer{ID: r.newID(), Screen: id, Item: item, Answer: screen.NotMet})
		}
		_, err := tx.PutChecklist(id, answers)
		return err
	})
	return id
}

func (r *ready) read(screenID, measure string, left, right float64) {
	r.t.Helper()
	r.put(r.t, func(tx *store.Tx) error {
		_, err := tx.PutReadings(screenID, []screen.Reading{
			{ID: r.newID(), Screen: screenID, Measure: measure, Side: screen.Left, Trials: []float64{left, left}, Examiner: "Ex Aminer"},
			{ID: r.newID(), Screen: screenID, Measure: measure, Side: screen.Right, Trials: []float64{right, right}, Examiner: "Ex Aminer"}}, nil)
		return err
	})
}

func (r *ready) sign(screenID, symptom string) {
	r.t.Helper()
	r.put(r.t, func(tx *store.Tx) error {
		_, err := tx.PutSymptoms(screenID, []screen.Symptom{{ID: r.newID(), Screen: screenID, Symptom: symptom, Side: screen.Right, Note: "a note of the symptom"}})
		return err
	})
}

func (r *ready) event(athlete string, kind screen.EventKind, on screen.Date, limits string) {
	r.t.Helper()
	r.put(r.t, func(tx *store.Tx) error {
		_, err := tx.PutEvent(screen.Event{ID: r.newID(), Athlete: athlete, On: on, Kind: kind, Link: "elbow", Note: "medial epicondyle apophysitis, Dr. Noted", Limits: limits})
		return err
	})
}

func (r *ready) rows() map[string]ReadyRow {
	r.t.Helper()
	out := map[string]ReadyRow{}
	for _, x := range must[Readiness](r.t)(r.Readiness(context.Background(), coachOf("t1"), "t1")).Rows {
		out[strings.TrimPrefix(x.Name, "Name of ")] = x
	}
	return out
}

func TestReadyStatus(t *testing.T) {
	r := newReady(t, "fine", "sign", "cleared", "hurt", "old", "limits", "lifted", "again", "never", "neverhurt")
	for _, id := range []string{"fine", "sign", "cleared", "hurt", "old", "limits", "lifted", "again"} {
		r.screened(id, "2026-02-01")
	}
	for _, id := range []string{"sign", "cleared", "old"} {
		r.sign("screen-"+id+"2026-02-01", "numbness_or_tingling")
	}
	r.event("cleared", screen.EventClearance, "2026-02-03", "")
	r.screened("old", "2026-02-05") // a later screen without a sign
	r.event("hurt", screen.EventInjury, "2026-02-04", "")
	r.event("limits", screen.EventInjury, "2026-01-04", "")
	r.event("limits", screen.EventClearance, "2026-01-20", "no throws at all")
	r.event("limits", screen.EventClearance, "2026-02-02", "30 easy throws, no pitching")
	r.event("lifted", screen.EventClearance, "2026-01-20", "no pitching")
	r.event("lifted", screen.EventClearance, "2026-02-02", "")
	r.event("again", screen.EventClearance, "2026-01-20", "no pitching")
	r.event("again", screen.EventInjury, "2026-02-02", "")
	r.event("neverhurt", screen.EventInjury, "2026-02-02", "")
	rows := r.rows()
	for id, want := range map[string]ReadyStatus{"fine": ReadyThrow, "sign": ReadyHold, "cleared": ReadyThrow, "hurt": ReadyHold, "old": ReadyThrow,
		"limits": ReadyLimits, "lifted": ReadyThrow, "again": ReadyHold, "never": ReadyAsk, "neverhurt": ReadyHold} {
		row := rows[id]
		limits := map[string]string{"limits": "30 easy throws, no pitching"}[id]
		if row.Status != want || row.Words == "" || row.Limits != limits || row.Athlete != id || row.Throws != screen.RightHand || !slices.Equal(row.Positions, []string{"pitcher"}) {
			t.Errorf("%s: want %s and limits %q: %+v", id, want, limits, row)
		}
	}
}

// Of several clearances on a day the one that was entered last counts, and one taken back not at all.
func TestReadyLimitsOfOneDay(t *testing.T) {
	r := newReady(t, "a")
	first := screen.Event{ID: "b", Kind: screen.EventClearance, On: "2026-02-02", Entered: r.now(), Limits: "first"}
	second := screen.Event{ID: "a", Kind: screen.EventClearance, On: "2026-02-02", Entered: r.now().Add(time.Minute), Limits: "second"}
	for _, list := range [][]screen.Event{{first, second}, {second, first}} {
		if got := limitsOf(list); got != "second" {
			t.Errorf("%q", got)
		}
	}
	r.screened("a", "2026-02-01")
	r.event("a", screen.EventClearance, "2026-02-02", "no pitching")
	events := must[[]screen.Event](t)(r.Events(context.Background(), boss, "a"))
	r.put(t, func(tx *store.Tx) error { return tx.WithdrawEvent(events[0].ID, "of another athlete") })
	if row := r.rows()["a"]; row.Status != ReadyThrow || row.Limits != "" {
		t.Errorf("%+v", row)
	}
}

// On hold is the same here as in the list of follow-ups.
func TestReadyHoldIsThatOfTheFollowUp(t *testing.T) {
	c, d, _ := demoSquad(t)
	c.put(t, func(tx *store.Tx) error {
		for _, e := range d.Events {
			if _, err := tx.PutEvent(e); err != nil {
				return err
			}
		}
		return nil
	})
	for i := range d.Athletes {
		c.agree(t, d.Athletes[i].ID, screen.ForCoach)
	}
	holds := 0
	for _, team := range d.Teams {
		list := must[FollowList](t)(c.FollowUp(context.Background(), boss, team.ID))
		ready := must[Readiness](t)(c.Readiness(context.Background(), boss, team.ID))
		if len(ready.Rows) != len(list.Rows) {
			t.Errorf("%d of %d athletes", len(ready.Rows), len(list.Rows))
		}
		for _, f := range list.Rows {
			i := slices.IndexFunc(ready.Rows, func(r ReadyRow) bool { return r.Athlete == f.Athlete })
			if i < 0 || (ready.Rows[i].Status == ReadyHold) != (f.Group == FollowHold) {
				t.Errorf("%s is %s in the follow-up: %+v", f.Name, f.Group, ready.Rows[max(i, 0)])
			}
			if f.Group == FollowHold {
				holds++
			}
		}
	}
	if holds < 2 {
		t.Errorf("only %d on hold", holds)
	}
}

// Without consent there is nothing but the name, and nothing tells one who is on hold from another.
func TestReadyWithoutConsent(t *testing.T) {
	r := newReady(t, "open")
	r.screened("open", "2026-02-01")
	r.put(t, func(tx *store.Tx) error {
		for _, id := range []string{"shut1", "shut2"} {
			a := screen.Athlete{ID: id, Name: id, Born: "2011-04-07", Sex: screen.Male, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.LeftHand}}}
			if _, err := tx.PutAthlete(&a, 0); err != nil {
				return err
			}
			if _, err := tx.PutMembership(screen.Membership{ID: "m" + id, Team: "t1", Athlete: id}, 0); err != nil {
				return err
			}
		}
		return nil
	})
	r.agree(t, "shut1", screen.ForScreening, screen.ForPhotographs)
	r.screened("shut1", "2026-02-01", "leads_with_hips")
	r.sign("screen-shut12026-02-01", "numbness_or_tingling")
	r.event("shut1", screen.EventInjury, "2026-02-02", "")
	r.event("shut2", screen.EventClearance, "2026-02-02", "no pitching")
	rows := r.rows()
	for _, id := range []string{"shut1", "shut2"} {
		if want := (ReadyRow{Name: id, Status: ReadyAsk, Words: "ask the trainer"}); !reflect.DeepEqual(rows[id], want) {
			t.Errorf("%+v", rows[id])
		}
	}
	if rows["open"].Status != ReadyThrow {
		t.Errorf("%+v", rows["open"])
	}
	r.put(t, func(tx *store.Tx) error {
		consents, err := tx.Consents("open")
		for _, x := range consents {
			x.WithdrawnOn, x.Why = r.Today(), "as the guardian asked"
			if err := tx.WithdrawConsent(x); err != nil {
				return err
			}
		}
		return err
	})
	if want := (ReadyRow{Name: "Name of open", Status: ReadyAsk, Words: "ask the trainer"}); !reflect.DeepEqual(r.rows()["open"], want) {
		t.Errorf("withdrawn today: %+v", r.rows()["open"])
	}
}

func TestReadyFocus(t *testing.T) {
	r := newReady(t, "a", "b", "c", "d", "held")
	// The order of entry is not that of the throw. On the lead leg the hip turns far less.
	a := r.screened("a", "2026-02-01", "lead_knee_braced", "stride_foot_to_target", "leads_with_hips")
	r.read(a, "hip_internal_rotation", 10, 45)
	r.screened("b", "2026-02-01", "lead_knee_braced", "stride_foot_to_target")
	r.screened("c", "2026-01-01", "leads_with_hips")
	r.screened("c", "2026-02-01") // the newest screen says nothing of it
	r.screened("d", "2026-02-01", "long_deceleration")
	held := r.screened("held", "2026-02-01", "leads_with_hips", "stride_foot_to_target")
	r.sign(held, "swelling_redness_warmth")
	got := must[Readiness](t)(r.Readiness(context.Background(), coachOf("t1"), "t1"))
	focus := map[string][]ReadyFocus{}
	for _, row := range got.Rows {
		focus[row.Athlete] = row.Focus
	}
	p := r.Protocol()
	item := func(id, with string) ReadyFocus {
		x := p.Item(id)
		return ReadyFocus{Item: id, Phase: strings.ReplaceAll(x.Phase, "_", " "), Words: x.Name, With: with}
	}
	hip := "work on the hip with the trainer"
	for id, want := range map[string][]ReadyFocus{
		"a": {item("leads_with_hips", hip), item("stride_foot_to_target", hip)},
		"b": {item("stride_foot_to_target", ""), item("lead_knee_braced", "")},
		"c": nil, "d": {item("long_deceleration", "")}, "held": nil,
	} {
		if !reflect.DeepEqual(focus[id], want) {
			t.Errorf("%s: %+v, want %+v", id, focus[id], want)
		}
	}
	both := []FocusGroup{{Item: "stride_foot_to_target", Phase: "foot contact", Words: p.Item("stride_foot_to_target").Name, Athletes: []ReadyName{{"a", "Name of a"}, {"b", "Name of b"}}}}
	if !reflect.DeepEqual(got.Groups, both) {
		t.Errorf("groups %+v", got.Groups)
	}
}

// Everything is on record of everybody, and nothing of it reaches the coach.
func TestReadinessTellsNothingThatWasMeasured(t *testing.T) {
	var ids []string
	for i := range 8 {
		ids = append(ids, fmt.Sprint("athlete", i))
	}
	r := newReady(t, ids...)
	for i, id := range ids {
		s := r.screened(id, "2026-02-01", "leads_with_hips", "hand_on_top_of_ball", "arm_in_throwing_position")
		for k, m := range []string{"hip_internal_rotation", "shoulder_internal_rotation", "shoulder_external_rotation", "elbow_flexion"} {
			r.read(s, m, 31.37+float64(k), 47.73+float64(k))
		}
		r.sign(s, "muscle_soreness")
		if i%3 == 0 {
			r.sign(s, "inner_elbow_tender")
		}
		r.event(id, screen.EventInjury, "2026-01-03", "")
		r.event(id, screen.EventClearance, "2026-01-23", "easy throws only")
	}
	b, err := json.Marshal(must[Readiness](t)(r.Readiness(context.Background(), coachOf("t1"), "t1")))
	if err != nil {
		t.Fatal(err)
	}
	said := string(b)
	for _, x := range []string{`"hold"`, `"limits":"easy throws only"`, "with the trainer", "Leads with the hips"} {
		if !strings.Contains(said, x) {
			t.Fatalf("%s is missing: %s", x, said)
		}
	}
	for _, x := range secrets(r, ids) {
		if strings.Contains(strings.ToLower(said), strings.ToLower(x)) {
			t.Errorf("%q reaches the coach", x)
		}
	}
}

// secrets are all words and numbers that the records of the squad hold, and what scores say of them.
func secrets(r *ready, ids []string) (out []string) {
	r.t.Helper()
	p := r.Protocol()
	out = []string{"a note of", "apophysitis", "Dr. Noted", "Ex Aminer", "171.3", "63.9", "EXT-", "2011-04-07", "2026-02-01", "2026-01-03", "2026-01-23",
		"deficit", "unsettled", "verdict", "symptom", "referral", "diagnos", "maturity", "growth", "probab", "in 100", "elbow_flexion"}
	for i := range p.Symptoms {
		out = append(out, p.Symptoms[i].ID, p.Symptoms[i].Name, symptomWords(&p.Symptoms[i]))
	}
	for i := range p.Measures {
		out = append(out, p.Measures[i].ID, p.Measures[i].Name)
	}
	for i := range p.Rules {
		out = append(out, p.Rules[i].ID, p.Rules[i].Name)
	}
	for k := range 4 {
		out = append(out, fmt.Sprint(31.37+float64(k)), fmt.Sprint(47.73+float64(k)))
	}
	for _, id := range ids {
		a := must[Assessment](r.t)(r.Score(context.Background(), boss, "screen-"+id+"2026-02-01"))
		out = append(out, a.Record.Screen.ID)
		for i := range a.Report.Findings {
			f := &a.Report.Findings[i]
			out = append(out, fmt.Sprint(f.P), fmt.Sprint(f.Difference), f.Reason)
		}
	}
	return slices.DeleteFunc(out, func(s string) bool { return len(s) < 4 })
}

func TestWhoSeesReadiness(t *testing.T) {
	r, ctx := newReady(t, "a"), context.Background()
	as := func(team string, role access.Role) Person {
		return Person{ID: "p", Grants: []access.Grant{{Team: team, Role: role}}}
	}
	for _, x := range []struct {
		who  Person
		code screen.Code
	}{
		{as("t1", access.Coach), ""}, {as("", access.Coach), ""}, {as("t1", access.Trainer), ""}, {as("t1", access.Clinician), ""},
		{as("t1", access.Helper), screen.Forbidden}, {as("t1", access.Administrator), screen.Forbidden},
		{as("t2", access.Coach), screen.NotFound}, {Person{Athlete: "a", Link: "l"}, screen.NotFound}, {Person{}, screen.Unknown},
	} {
		_, err := r.Readiness(ctx, x.who, "t1")
		if x.code == "" && err != nil || x.code != "" && !screen.IsCode(err, x.code) {
			t.Errorf("%+v: %v, want %q", x.who, err, x.code)
		}
	}
	if _, err := r.Readiness(ctx, boss, "nowhere"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("no such team: %v", err)
	}
}

func TestOpenStations(t *testing.T) {
	r, ctx := newReady(t, "a"), context.Background()
	day := func(id, team, code string, on screen.Date) screen.Day {
		return screen.Day{ID: id, Team: team, On: on, Kind: screen.Preseason, SideOrder: screen.ThrowingFirst,
			Stations: []screen.Station{{Code: code + "1", Name: "Check-in"}, {Code: code + "2", Name: "Shoulder"}}}
	}
	closed := day("d3", "t3", "CC", r.Today())
	closed.Closed = r.now()
	r.put(t, func(tx *store.Tx) error {
		for _, id := range []string{"t2", "t3"} {
			if _, err := tx.PutTeam(&screen.Team{ID: id, Name: "Team " + id, Sport: "baseball"}, 0); err != nil {
				return err
			}
		}
		for _, d := range []screen.Day{day("d1", "t1", "AA", r.Today()), day("d2", "t2", "BB", r.Today()), closed, day("d4", "t1", "DD", "2026-02-09")} {
			if _, err := tx.PutDay(&d, 0); err != nil {
				return err
			}
		}
		return nil
	})
	helper := Person{ID: "h", Grants: []access.Grant{{Team: "t1", Role: access.Helper}, {Team: "t3", Role: access.Helper}, {Team: "t2", Role: access.Coach}}}
	want := []OpenStations{{Team: "Team", On: r.Today(), Stations: []OpenStation{{"AA1", "Check-in"}, {"AA2", "Shoulder"}}}}
	if got := must[[]OpenStations](t)(r.OpenStations(ctx, helper)); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v", got)
	}
	if got := must[[]OpenStations](t)(r.OpenStations(ctx, coachOf("t1"))); len(got) != 0 {
		t.Errorf("a coach: %+v", got)
	}
	if _, err := r.OpenStations(ctx, Person{}); !screen.IsCode(err, screen.Unknown) {
		t.Errorf("nobody: %v", err)
	}
}

// The trainer is named for a link only if it rather does not do its share than does.
func TestReadyFocusNamesTheLinkBehind(t *testing.T) {
	p := open(t).Protocol()
	finding := func(measure, link string, v score.Verdict, prob float64, counted bool) score.Finding {
		return score.Finding{Measure: measure, Link: link, Verdict: v, P: prob, Counted: counted}
	}
	hip, shoulder := "work on the hip with the trainer", "work on the shoulder with the trainer"
	for _, x := range []struct {
		item string
		f    []score.Finding
		want string
	}{
		{"leads_with_hips", nil, ""},
		{"leads_with_hips", []score.Finding{finding("hip_internal_rotation", "hip", score.Deficit, 0.9, true)}, hip},
		{"leads_with_hips", []score.Finding{finding("hip_internal_rotation", "hip", score.Unsettled, 0.51, true)}, hip},
		{"leads_with_hips", []score.Finding{finding("hip_internal_rotation", "hip", score.Unsettled, 0.5, true)}, ""},
		{"leads_with_hips", []score.Finding{finding("hip_internal_rotation", "hip", score.Clear, 0.6, true)}, ""},
		{"leads_with_hips", []score.Finding{finding("hip_internal_rotation", "hip", score.Deficit, 0.9, false)}, ""},
		{"leads_with_hips", []score.Finding{finding("elbow_flexion", "elbow", score.Deficit, 0.9, true)}, ""},
		// The item's own order decides, not that of the findings: shoulder before scapula.
		{"arm_in_throwing_position", []score.Finding{finding("scapula_distance_abducted", "scapula", score.Deficit, 0.99, true),
			finding("shoulder_flexion", "shoulder", score.Deficit, 0.81, true)}, shoulder},
		{"arm_in_throwing_position", []score.Finding{finding("scapula_distance_abducted", "scapula", score.Deficit, 0.99, true)}, "work on the shoulder blade with the trainer"},
	} {
		if got := behindWords(p, p.Item(x.item), &score.Report{Findings: x.f}); got != x.want {
			t.Errorf("%s with %+v: %q, want %q", x.item, x.f, got, x.want)
		}
	}
}

// Whom the handout tells to be seen before throwing goes on, of that one the coach is told to ask; not
// that throwing is all right, and not why. A clearance since ends it.
func TestReadinessDoesNotContradictTheHandout(t *testing.T) {
	r := newReady(t, "elbow", "seen", "pain", "limits")
	for _, id := range []string{"elbow", "seen", "limits"} {
		r.read(r.screened(id, "2026-02-01", r.Protocol().Checklist[0].ID), "elbow_extension", 0, -20)
	}
	pain := r.screened("pain", "2026-02-01")
	r.put(t, func(tx *store.Tx) error {
		_, err := tx.PutNotDone(pain, []screen.NotDone{{ID: r.newID(), Screen: pain, Measure: irID, Side: screen.Right, Reason: screen.ReasonPain}})
		return err
	})
	r.event("seen", screen.EventClearance, "2026-02-02", "")
	r.event("limits", screen.EventClearance, "2026-01-20", "30 easy throws")
	rows := r.rows()
	for id, want := range map[string]ReadyStatus{"elbow": ReadyAsk, "seen": ReadyThrow, "pain": ReadyAsk, "limits": ReadyAsk} {
		row := rows[id]
		if row.Status != want || row.Limits != "" || (len(row.Focus) > 0) != (want == ReadyThrow) {
			t.Errorf("%s: want %s: %+v", id, want, row)
		}
		if want == ReadyAsk && row.Words != "ask the trainer" {
			t.Errorf("%s: the coach reads %q", id, row.Words)
		}
	}
}
