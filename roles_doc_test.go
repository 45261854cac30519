package main

import (
	_ "embed"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"evenhand/internal/access"
)

var updateRoles = flag.Bool("update", false, "write docs/roles.md anew")

const rolesDoc = "docs/roles.md"

// TestRolesDoc holds docs/roles.md against the rules of access and testdata/routes.yaml.
func TestRolesDoc(t *testing.T) {
	want := rolesInWords(t)
	if *updateRoles {
		if err := os.WriteFile(rolesDoc, []byte(want), 0o644); err != nil { //nolint:gosec // a document for everybody
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(rolesDoc)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Errorf("%s is out of date: run make roles", rolesDoc)
	}
}

//go:embed testdata/roles.md
var rolesWords string

// rolesInWords fills the tables into the text.
func rolesInWords(t testing.TB) string {
	t.Helper()
	out := rolesWords
	for mark, table := range map[string]string{"ACTIONS": actionTable(), "PAGES": routeTable(ruleBookOf(t), false), "API": routeTable(ruleBookOf(t), true)} {
		if !strings.Contains(out, "<!-- "+mark+" -->\n") {
			t.Fatalf("testdata/roles.md has no place for %s", mark)
		}
		out = strings.Replace(out, "<!-- "+mark+" -->\n", table, 1)
	}
	return out
}

func yes(is bool) string {
	if is {
		return "yes"
	}
	return "–"
}

// scopeOf is the scope of a token that an action takes, empty if no token may do it.
func scopeOf(a access.Action) access.Scope {
	for _, s := range access.Scopes {
		p := access.Person{Local: true, Scopes: []access.Scope{s}}
		if p.May(a, &access.Subject{Every: true}) {
			return s
		}
	}
	return ""
}

func actionTable() string {
	var b strings.Builder
	b.WriteString("| action | what it is about |")
	for _, r := range access.AllRoles {
		fmt.Fprintf(&b, " %s |", r)
	}
	b.WriteString(" token | looking is recorded |\n|" + strings.Repeat(" --- |", len(access.AllRoles)+4) + "\n")
	for _, a := range access.Actions() {
		fmt.Fprintf(&b, "| %s | %s |", a, a.Words())
		for _, r := range access.AllRoles {
			fmt.Fprintf(&b, " %s |", yes(r.May(a)))
		}
		fmt.Fprintf(&b, " %s | %s |\n", firstOf(string(scopeOf(a)), "–"), yes(a.Personal()))
	}
	return b.String()
}

func routeTable(book *ruleBook, api bool) string {
	var b strings.Builder
	b.WriteString("| route | takes |")
	for _, r := range access.Roles {
		fmt.Fprintf(&b, " %s |", r)
	}
	b.WriteString(" token | by link |\n|" + strings.Repeat(" --- |", len(access.Roles)+4) + "\n")
	for i := range book.Rules {
		if r := &book.Rules[i]; r.api() == api {
			b.WriteString(r.line())
		}
	}
	return b.String()
}

// line is the route's row in the table.
func (r *rule) line() string {
	var b strings.Builder
	fmt.Fprintf(&b, "| `%s` | %s |", r.Route, r.takes())
	for _, role := range access.Roles {
		fmt.Fprintf(&b, " %s |", r.cell(role))
	}
	fmt.Fprintf(&b, " %s | %s |\n", r.scopes(), firstOf(r.Link, "–"))
	return b.String()
}

func (r *rule) takes() string {
	out := r.Action
	if len(r.Also) > 0 {
		out += " and " + strings.Join(r.Also, ", ")
	}
	if r.Programme {
		out += ", of every team"
	}
	return out
}

func (r *rule) cell(role access.Role) string {
	if r.Led[string(role)] != "" {
		return "sent on"
	}
	for _, a := range r.actions() {
		if !role.May(a) {
			return "–"
		}
	}
	if r.Programme {
		return "every team"
	}
	return "yes"
}

// scopes are those that a token has to have, all of them.
func (r *rule) scopes() string {
	switch r.Action {
	case "public":
		return "yes"
	case "anyone":
		return "any"
	}
	var out []string
	for _, a := range r.actions() {
		s := string(scopeOf(a))
		if s == "" {
			return "–"
		}
		if len(out) == 0 || !strings.Contains(strings.Join(out, " "), s) {
			out = append(out, s)
		}
	}
	return strings.Join(out, " and ")
}
