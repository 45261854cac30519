package main

import (
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/access"
)

// strangers are the roles of own that look for what is the other team's.
func (s *site) strangers() []role {
	return slices.DeleteFunc(s.rolesOf(), func(who role) bool { return who.account == "chief" || who.account == "" })
}

// swappable are the names in a row's address and query that there are of another team, too.
func (s *site) swappable(t testing.TB, r *rule) (out []string) {
	params := r.params(ruleBookOf(t), nil)
	text := r.Query
	for _, k := range sortedKeys(params) {
		if !slices.Contains(r.Made, k) {
			text += " " + params[k]
		}
	}
	for _, x := range nameInBraces.FindAllString(text, -1) {
		name := strings.Trim(x, "{}")
		if _, ok := s.names["other."+strings.TrimPrefix(name, "my.")]; ok && !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// swapped gives names of a team in place of those of own.
func swapped(pre string, which []string) func(string) string {
	return func(name string) string {
		if slices.Contains(which, name) {
			return pre + "." + strings.TrimPrefix(name, "my.")
		}
		return name
	}
}

// TestOtherTeamsIDs puts ids of the other team into every address, one at a time and all together. The
// answer is the one for an id that does not exist, to the byte, and says nothing of the other team.
func TestOtherTeamsIDs(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	before, asked := p.rows(), 0
	for _, r := range rulesToSend(t) {
		if r.Link != "" || r.Action == "public" { // such an address lets in whoever knows it
			continue
		}
		names := s.swappable(t, r)
		var sets [][]string
		for _, x := range names {
			sets = append(sets, []string{x})
		}
		if len(names) > 1 {
			sets = append(sets, names)
		}
		for _, set := range sets {
			for _, who := range s.strangers() {
				asked++
				p.strange(r, &who, set)
			}
		}
	}
	same(t, "after requests for what is the other team's", before, p.rows(), "")
	if !racing && asked < 700 {
		t.Errorf("only %d requests were sent", asked)
	}
	if p.log.Len() > 0 {
		t.Errorf("something failed inside: %.2000s", p.log)
	}
}

// strange sends a request with ids of the other team, and the same with ids that do not exist.
func (p *premises) strange(r *rule, who *role, set []string) {
	p.t.Helper()
	pres := []string{"other"}
	if slices.Contains(set, "athlete") {
		pres = append(pres, "left") // who was in own once
	}
	none := p.site.request(p.t, r, who, nil, swapped("none", set))
	want := p.send(who, none)
	for _, pre := range pres {
		of := swapped("other", set)
		req := p.site.request(p.t, r, who, nil, func(name string) string {
			if name == "athlete" && pre == "left" && slices.Contains(set, name) {
				return "left.athlete"
			}
			return of(name)
		})
		got := p.send(who, req)
		if a, b := plain(&got), plain(&want); a != b {
			p.t.Errorf("%s as %s: %s is told from %s: %s | %s", r.Route, who.name, req.target, none.target, got.brief(), want.brief())
		}
		p.strangeStatus(r, who, req, &got)
		p.tellsNothing(r.Route+" as "+who.name, &got, otherText.foreign())
	}
}

// strangeStatus fails unless somebody whose role may do it is told that there is no such thing. To
// somebody whose role may not it is the same, or the refusal that a role gets whatever the id.
func (p *premises) strangeStatus(r *rule, who *role, req *sent, a *answer) {
	p.t.Helper()
	ok := []int{http.StatusNotFound}
	if strings.Contains(req.target, "?") {
		ok = append(ok, http.StatusUnprocessableEntity) // an id in a query refers to something
	}
	if r.Programme || !r.may(who) {
		ok = append(ok, http.StatusForbidden)
	}
	if !slices.Contains(ok, a.status) && r.Action != "anyone" {
		p.t.Errorf("%s as %s: status %d for %s, want one of %v: %s", r.Route, who.name, a.status, req.target, ok, a.brief())
	}
}

var ownMaking = regexp.MustCompile(`(new|own|oth|non)-[a-zA-Z0-9-]+|(QWN|XTH|VQN)DAY[A-Z]2`)

// plain is an answer without ids, so that those that were sent, or that were made just now for a form,
// make no difference.
func plain(a *answer) string { return ownMaking.ReplaceAllString(a.all(), "ID") }

// tellsNothing fails if a text stands anywhere in an answer.
func (p *premises) tellsNothing(what string, a *answer, texts []string) {
	p.t.Helper()
	all := strings.ToLower(a.all())
	for _, x := range texts {
		if strings.Contains(all, strings.ToLower(x)) {
			p.t.Errorf("%s: %q stands in the answer, with status %d: %s", what, x, a.status, a.brief())
		}
	}
}

// TestListsHoldOwnTeamsOnly reads every route for what is own: nothing of the other team stands among it,
// also nothing of the athlete who was in own once.
func TestListsHoldOwnTeamsOnly(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	read := 0
	for _, r := range rulesToSend(t) {
		for _, who := range s.strangers() {
			if r.reads() && r.may(&who) {
				read++
				a := p.send(&who, s.request(t, r, &who, nil, nil))
				p.tellsNothing(r.Route+" as "+who.name, &a, otherText.foreign())
			}
		}
	}
	if !racing && read < 300 {
		t.Errorf("only %d answers were read", read)
	}
}

// TestOtherTeamsIDsInBodies sends ids of the other team to addresses of own. Each is refused, or changes
// nothing of the other team's; and nothing of it is told.
func TestOtherTeamsIDsInBodies(t *testing.T) {
	if racing {
		t.Skip("opening a copy for each request takes too long under the race detector")
	}
	s, asked := sharedSite(t), 0
	for _, r := range rulesToSend(t) {
		for k := range r.Others {
			asked++
			p := s.open(t, rolesNoon)
			p.strangeBody(r, &r.Others[k])
			if p.log.Len() > 0 {
				t.Errorf("%s, %s: something failed inside: %.500s", r.Route, r.Others[k].What, p.log)
			}
			_ = p.opened.store.Close()
		}
	}
	if !racing && asked < 60 {
		t.Errorf("only %d requests were sent", asked)
	}
}

func (p *premises) strangeBody(r *rule, over *otherBody) {
	p.t.Helper()
	var who role
	for _, x := range p.site.strangers() {
		if r.may(&x) && x.token == "" {
			who = x
		}
		if who.name == string(access.Trainer) {
			break // as the one of whom there are most
		}
	}
	if who.account == "" {
		who = p.site.role(access.Trainer) // may not do it anyway
	}
	what := r.Route + " as " + who.name + " with " + over.What
	before := p.rows()
	got := p.send(&who, p.site.request(p.t, r, &who, over, nil))
	after, of := p.rows(), ""
	if got.status < 400 && !r.reads() {
		of = "oth-"
	}
	if over.Kept {
		for table := range after {
			after[table] = slices.DeleteFunc(after[table], func(row string) bool { return !slices.Contains(before[table], row) })
		}
	}
	same(p.t, what, before, after, of)
	p.tellsNothing(what, &got, otherText.foreign())
	if over.Taken {
		return
	}
	none := *over
	none.none = true
	q := p.site.open(p.t, rolesNoon)
	want := q.send(&who, p.site.request(p.t, r, &who, &none, nil))
	_ = q.opened.store.Close()
	if a, b := plain(&got), plain(&want); a != b {
		p.t.Errorf("%s: it is told from one that does not exist: %d %s | %d %s", what, got.status, got.brief(), want.status, want.brief())
	}
}
