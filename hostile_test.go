package main

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"evenhand/internal/access"
	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// Everything that a person can enter holds text that would be markup, script, a formula, a header or a
// path in the wrong place. Then every page, every answer of the API and every file is read as a browser,
// a spreadsheet or a calendar reads it.
func TestHostileText(t *testing.T) {
	h := newHostileWorld(t)
	h.enter()
	h.enterAccounts()
	h.enterPrivacy()
	h.visit(0)
	h.misaddress()
	h.knock()
	h.submitAll()
	h.visit(rounds - 2)
	h.everyTextWasShown()
	h.fileIsClean(100 * rounds)
	if h.log.Len() > 0 && markOf.MatchString(h.log.String()) {
		t.Errorf("the log holds what was typed: %.500s", h.log)
	}
}

// What no field takes is refused at each of them, in words that name the field.
func TestHostileTextIsRefused(t *testing.T) {
	h := newHostileWorld(t)
	h.refuse()
	h.fileIsClean(100)
}

// enterAccounts makes what is typed about people, through the use cases that the pages call.
func (h *hostileWorld) enterAccounts() {
	h.t.Helper()
	ctx, o := h.t.Context(), h.opened.office
	grants := []access.Grant{{Role: access.Coach}, {Team: "t0", Role: access.Trainer}}
	for round := range rounds {
		who := h.who()
		text := func(field string) string { return strings.ReplaceAll(h.text(field, 0, round), "SURROGATE", "\ufffd") }
		family, err := o.MakeFamilyLink(ctx, who, "a0", oneLine(text("family link.name")), 30)
		h.must(err)
		invitation, err := o.Invite(ctx, who, oneLine(text("invitation.name")), grants)
		h.must(err)
		in, err := o.TakeInvitation(ctx, invitation, office.NewAccount{Login: "login" + strconv.Itoa(round), Name: oneLine(text("account.name")),
			Password: hostilePassword})
		h.must(err)
		reset, err := o.ResetLink(ctx, who, in.Person.ID)
		h.must(err)
		open, err := o.Invite(ctx, who, oneLine(text("invitation.name")), grants)
		h.must(err)
		_, err = o.MakeToken(ctx, who, oneLine(text("token.name")), []access.Scope{access.ScopeRead}, "t0", 30)
		h.must(err)
		h.secrets["/f/:secret"], h.secrets["/invitation/:secret"], h.secrets["/reset/:secret"] = family, open, reset
	}
}

// oneLine is a text without line ends, which a name of an account has not.
func oneLine(s string) string { return strings.NewReplacer("\n", " ", "\t", " ").Replace(s) }

// enterPrivacy makes what is typed about retention and erasure, and the texts of consents.
func (h *hostileWorld) enterPrivacy() {
	h.t.Helper()
	ctx, who, c := h.t.Context(), h.who(), h.opened.clinic
	for round := range rounds {
		text := func(field string) string { return strings.ReplaceAll(h.text(field, 0, round), "SURROGATE", "\ufffd") }
		_, err := c.AddConsentText(ctx, who, screen.ConsentText{ID: newID(), Purpose: screen.ForCoach, Version: text("consent text.version"), Body: text("consent text.body")})
		h.must(err)
		h.must(c.HoldRetention(ctx, who, h.inRound("a$n", round), text("retention hold.why")))
		gone, err := c.Athlete(ctx, who, h.inRound("w$n-2", round))
		h.must(err)
		_, err = c.EraseAthlete(ctx, who, gone.ID, gone.Name, text("erasure.why"))
		h.must(err)
	}
}

// everyTextWasShown: a text that shows nowhere was not looked at.
func (h *hostileWorld) everyTextWasShown() {
	h.t.Helper()
	shown := map[string]bool{}
	for m, x := range h.typed {
		shown[x.field] = shown[x.field] || h.seen[m]
	}
	for field, yes := range shown {
		if _, known := h.list.Unseen[field]; !yes && !known && !strings.HasPrefix(field, "/") {
			h.t.Errorf("what was typed for %s was shown nowhere", field)
		} else if yes && known {
			h.t.Errorf("%s is said to show nowhere, and does", field)
		}
	}
}

// fileIsClean: what is on file is what was typed, without characters that were to be refused.
func (h *hostileWorld) fileIsClean(least int) {
	h.t.Helper()
	db, err := sql.Open("sqlite", h.file)
	h.must(err)
	defer func() { _ = db.Close() }()
	tables := h.column(db, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
	n := 0
	for _, table := range tables {
		for _, column := range h.column(db, `SELECT name FROM pragma_table_info('`+table+`')`) {
			for _, s := range h.column(db, `SELECT "`+column+`" FROM "`+table+`" WHERE typeof("`+column+`") = 'text'`) {
				n++
				if !utf8.ValidString(s) || strings.ContainsFunc(s, notKept) {
					h.t.Errorf("%s.%s holds %.100q", table, column, s)
				}
				if markOf.MatchString(s) && strings.Contains(s, "&lt;") {
					h.t.Errorf("%s.%s is on file escaped: %.100q", table, column, s)
				}
			}
		}
	}
	if n < least {
		h.t.Errorf("only %d texts are on file", n)
	}
}

// notKept are the characters that no text holds: control characters, and those that turn the direction
// of what follows.
func notKept(r rune) bool {
	return unicode.IsControl(r) && r != '\n' && r != '\t' || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
}

func (h *hostileWorld) column(db *sql.DB, query string) (out []string) {
	h.t.Helper()
	rows, err := db.QueryContext(h.t.Context(), query)
	h.must(err)
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var s string
		h.must(rows.Scan(&s))
		out = append(out, s)
	}
	h.must(rows.Err())
	return out
}

// A new string in a body of the API is either typed in testdata/hostile.yaml or said to be no free text.
func TestHostileListIsWhole(t *testing.T) {
	h := newHostileWorld(t)
	var doc struct {
		Paths      map[string]map[string]json.RawMessage
		Components struct{ Schemas map[string]schema }
	}
	h.must(json.Unmarshal(h.get("/api/openapi.json").Body.Bytes(), &doc))
	typed, n := h.list.typed(), 0
	for path, item := range doc.Paths {
		for method, raw := range item {
			var op struct {
				OperationID string
				RequestBody struct {
					Content map[string]struct{ Schema schema }
				}
			}
			if method == "get" || method == "parameters" || json.Unmarshal(raw, &op) != nil {
				continue
			}
			body := op.RequestBody.Content["application/json"].Schema
			body.strings(doc.Components.Schemas, "", nil, func(field string) {
				n++
				last := field[strings.LastIndex(field, ".")+1:]
				_, fixed := h.list.Fixed[last]
				_, fixedHere := h.list.Fixed[op.OperationID+"."+field]
				if !fixed && !fixedHere && !typed[op.OperationID+"."+field] {
					t.Errorf("%s %s: testdata/hostile.yaml does not say what may be typed for %s.%s", method, path, op.OperationID, field)
				}
			})
		}
	}
	if n < 80 {
		t.Errorf("only %d strings were met", n)
	}
}

// typed are the fields in which the steps have text.
func (l *hostileList) typed() map[string]bool {
	out := map[string]bool{}
	for i := range l.Steps {
		s := &l.Steps[i]
		leaves(s.JSON, "", func(x leaf) any {
			out[s.Do+"."+x.path] = out[s.Do+"."+x.path] || strings.HasPrefix(x.value, "TEXT")
			return nil
		})
	}
	return out
}

// schema is what a body of the API is made of.
type schema struct {
	Ref        string `json:"$ref"`
	Type       any
	Enum       []any
	Format     string
	Properties map[string]schema
	Items      *schema
}

// strings calls do for every string that is neither one of a list nor a time, by its path.
func (s *schema) strings(all map[string]schema, path string, within []string, do func(string)) {
	if s.Ref != "" {
		name := s.Ref[strings.LastIndex(s.Ref, "/")+1:]
		if x, ok := all[name]; ok && !slices.Contains(within, name) {
			x.strings(all, path, append(within, name), do)
		}
		return
	}
	kinds, _ := s.Type.([]any)
	if text := s.Type == "string" || slices.Contains(kinds, any("string")); text && s.Enum == nil && s.Format == "" && path != "" {
		do(path)
	}
	for name, x := range s.Properties {
		x.strings(all, strings.TrimPrefix(path+"."+name, "."), within, do)
	}
	if s.Items != nil {
		s.Items.strings(all, path, within, do)
	}
}

// The commands write the same texts to a terminal and into files.
func TestHostileTextInCommands(t *testing.T) {
	h := newHostileWorld(t)
	h.enter()
	for _, format := range []string{"json", "csv", "findings"} {
		for _, team := range []string{"", "t0", "t1"} {
			var out bytes.Buffer
			w := *h.world
			w.out = &out
			args := []string{"export", "--db", h.file, "--format", format}
			if team != "" {
				args = append(args, "--team", team)
			}
			if code := run(t.Context(), args, &w); code != 0 {
				t.Fatalf("%v: exit %d", args, code)
			}
			if strings.ContainsFunc(out.String(), func(r rune) bool { return notKept(r) && r != '\r' }) {
				t.Errorf("%v writes control characters", args)
			}
			if format == "json" {
				h.checkJSON("export", out.String())
			} else {
				h.checkCSV("export "+format, out.String())
			}
		}
	}
}
