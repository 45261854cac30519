package clinic

import (
	"context"
	"encoding/json"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

// heldIn says where in a copy of everything held the rows of a table about an athlete stand, or why they
// are not in it. A new table without a line here fails the test.
var heldIn = map[string]string{
	"athletes": "athlete", "hands": "athlete", "memberships": "memberships", "screens": "screens", "readings": "screens", "not_done": "screens",
	"checklist_answers": "screens", "symptoms": "screens", "events": "events", "consents": "consents", "consent_texts": "consent_texts",
	"participants": "screening_days", "day_entries": "entries", "handouts": "handouts", "links": "links", "retention_holds": "retention_hold",
	"squad_priors": "squad_figures", "studies": "retest_studies", "audit": "audit",

	"teams": "-", "seasons": "-", "days": "-", "stations": "-", "reading_digits": "-", "error_switches": "-", // of a team, of nobody in particular
	"accounts": "-", "grants": "-", "recovery_codes": "-", "passkeys": "-", "sessions": "-", "tokens": "-", // of the staff
	"settings": "-", "erasures": "-", "backups": "-", "goose_db_version": "-", // of the programme and the file
}

func TestHeldCoversEveryTable(t *testing.T) {
	r, path := full(t)
	c, ctx := r.Clinic, context.Background()
	held := must[Held](t)(c.Held(ctx, boss, "a01"))
	text := must[[]byte](t)(json.Marshal(held))
	var parts map[string]json.RawMessage
	if err := json.Unmarshal(text, &parts); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	columns(t, path, func(table, column, _ string) {
		where, known := heldIn[table]
		switch {
		case !known:
			t.Errorf("the table %s has no rule: what of it is about an athlete?", table)
		case where == "-" && (strings.Contains(column, "athlete") || column == "screen_id"):
			t.Errorf("the table %s has the column %s and is not in the copy", table, column)
		case where != "-" && !seen[table] && len(parts[where]) < 5: // null, [] and {} are shorter
			t.Errorf("nothing of %s is in the part %s: %s", table, where, parts[where])
		}
		seen[table] = true
	})
	for _, table := range []string{"athletes", "hands", "readings", "not_done", "checklist_answers", "symptoms", "events", "links", "retention_holds", "studies", "squad_priors", "handouts", "day_entries", "audit"} {
		if !seen[table] {
			t.Errorf("the table %s is empty: the test shows nothing of it", table)
		}
	}
	if strings.Contains(string(text), strings.Repeat("f", 64)) {
		t.Error("what opens a link is in it")
	}
}

// What was corrected, taken back and answered before is in it, and nothing of anybody else.
func TestHeld(t *testing.T) {
	r, _ := full(t)
	c, ctx := r.Clinic, context.Background()
	again := r.entry(screen.DayAnswer, "a01", c.Protocol().ItemIDs()[0])
	again.Answer = screen.Met
	r.added("THROW", again)
	held := must[Held](t)(c.Held(ctx, boss, "a01"))
	if len(held.Screens) != 2 || held.Screens[0].ID != "old" || held.Screens[0].Note != note {
		t.Fatalf("%+v", held.Screens)
	}
	s := held.Screens[1]
	if len(s.Readings) != 3 || s.Readings[0].Withdrawn == "" || s.Readings[1].Superseded == "" || s.Readings[2].Why != note {
		t.Errorf("readings %+v", s.Readings)
	}
	if len(s.Checklist) != 2 || len(s.NotDone) != 1 || len(s.Symptoms) != 1 {
		t.Errorf("%+v", s)
	}
	if len(held.Entries) != 8 || len(held.Consents) != 3 || len(held.Texts) != 3 || len(held.Days) != 1 || held.Hold == nil || held.Memberships[0].TeamName != "Team" {
		t.Errorf("%d entries, %d consents, %d texts", len(held.Entries), len(held.Consents), len(held.Texts))
	}
	if len(held.Figures) != 1 || !held.Figures[0].Counted || len(held.Studies) != 1 || len(held.Studies[0].Readings) != 3 {
		t.Errorf("%+v %+v", held.Figures, held.Studies)
	}
	if text := string(must[[]byte](t)(json.Marshal(held))); strings.Contains(text, "a02") || strings.Contains(text, "Athlete 02") {
		t.Error("something of another athlete is in it")
	}
	looked := false
	held = must[Held](t)(c.Held(ctx, boss, "a01")) // the first look is on record now
	for _, e := range held.Audit {
		looked = looked || e.Action == access.ExportAthlete && e.Subject == "a01" && e.Name == boss.Name && !e.At.IsZero()
	}
	if !looked {
		t.Errorf("that somebody looked is not in it: %+v", held.Audit)
	}
}

func TestWhoMayHaveHeld(t *testing.T) {
	r, _ := full(t)
	for role, may := range map[access.Role]bool{access.Administrator: true, access.Clinician: true, access.Trainer: false, access.Coach: false} {
		who := Person{ID: "u", Name: "U", Grants: []access.Grant{{Team: "t1", Role: role}}}
		if _, err := r.Held(context.Background(), who, "a01"); may != (err == nil) {
			t.Errorf("%s: %v", role, err)
		}
	}
	if _, err := r.Held(context.Background(), boss, "nobody"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("nobody: %v", err)
	}
}
