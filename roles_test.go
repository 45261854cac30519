package main

import (
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"testing"
)

// TestRoles sends every route's request as everybody and holds the answer against the rules of access.
// What is refused runs on one copy of the file, of which nothing may have changed at the end; each
// write that is allowed runs on a copy of its own.
func TestRoles(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	before := p.rows()
	asked, refused := 0, 0
	for _, r := range rulesToSend(t) {
		for _, who := range s.rolesOf() {
			if r.Link != "" {
				asked++
				p.throughLink(r, &who)
			}
			over := &otherBody{Path: r.Wrong}
			switch asked++; {
			case r.Link == "family", !r.may(&who):
				refused++
				p.refuses(r, &who, over)
			case r.reads():
				p.allows(r, &who, over)
			}
		}
	}
	same(t, "after all that was refused", before, p.rows(), "")
	if !racing && (asked < 1500 || refused < 800) {
		t.Errorf("only %d requests were sent, %d of them to be refused", asked, refused)
	}
	if p.log.Len() > 0 {
		t.Errorf("something failed inside: %.2000s", p.log)
	}
}

// TestRolesAllowed sends every write that the rules allow, each to a copy of its own.
func TestRolesAllowed(t *testing.T) {
	if racing {
		t.Skip("opening a copy for each write takes too long under the race detector")
	}
	s := sharedSite(t)
	for _, r := range rulesToSend(t) {
		for _, who := range s.rolesOf() {
			if r.reads() || r.Link == "" && !r.may(&who) || r.Link != "" && who.token != "" && !r.may(&who) {
				continue
			}
			p := s.open(t, rolesNoon)
			p.allows(r, &who, nil)
			if p.log.Len() > 0 {
				t.Errorf("%s as %s: something failed inside: %.500s", r.Route, who.name, p.log)
			}
			_ = p.opened.store.Close() // hundreds of open files otherwise
		}
	}
}

// throughLink: who knows the address of a link is let in, whoever it is; a program is not, since it has
// no need of links: for it the scopes of its token count.
func (p *premises) throughLink(r *rule, who *role) {
	p.t.Helper()
	switch {
	case who.token != "" && r.Link == "station" && !r.may(who):
		p.refuses(r, who, nil)
	case who.token == "" && r.reads():
		p.allows(r, who, nil)
	}
}

// allows fails unless the request is let in.
func (p *premises) allows(r *rule, who *role, over *otherBody) {
	p.t.Helper()
	a := p.send(who, p.site.request(p.t, r, who, over, nil))
	ok := a.status < 400
	if len(r.OK) > 0 {
		ok = slices.Contains(r.OK, a.status)
	}
	if to := a.header.Get("Location"); strings.HasPrefix(to, "/sign-in?next=") {
		ok = false
	}
	if !ok {
		p.t.Errorf("%s as %s: status %d, but it is allowed: %s", r.Route, who.name, a.status, a.brief())
	}
}

// refuses fails unless the request is refused in the words that are right for it.
func (p *premises) refuses(r *rule, who *role, over *otherBody) {
	p.t.Helper()
	req := p.site.request(p.t, r, who, over, nil)
	a := p.send(who, req)
	p.isRefusal(r, who, req, &a)
	if r.reads() && p.heads[r.path()] {
		head := *req
		head.method = http.MethodHead
		if b := p.send(who, &head); b.status != a.status {
			p.t.Errorf("HEAD %s as %s: status %d, and GET has %d", r.path(), who.name, b.status, a.status)
		}
	}
}

func (p *premises) isRefusal(r *rule, who *role, req *sent, a *answer) {
	p.t.Helper()
	want := http.StatusForbidden
	switch {
	case r.Link == "family", r.Link != "" && who.person.Anonymous():
		want = http.StatusNotFound // a link that does not work is not told from one that there never was
	case who.person.Anonymous() && !r.api() && r.reads():
		if to := a.header.Get("Location"); a.status != http.StatusSeeOther || !strings.HasPrefix(to, "/sign-in?next=") {
			p.t.Errorf("%s as %s: status %d to %q, want 303 to the page for signing in", r.Route, who.name, a.status, to)
		}
		return
	case who.person.Anonymous():
		want = http.StatusUnauthorized
	case r.Refused != 0:
		want = r.Refused
	case r.Led[who.name] != "":
		if to := a.header.Get("Location"); a.status != http.StatusSeeOther || to != r.Led[who.name] {
			p.t.Errorf("%s as %s: status %d to %q, want 303 to %q", r.Route, who.name, a.status, to, r.Led[who.name])
		}
		return
	}
	if a.status != want {
		p.t.Errorf("%s as %s (%s): status %d, want %d: %s", r.Route, who.name, req.target, a.status, want, a.brief())
		return
	}
	if tag := a.header.Get("ETag"); tag != "" {
		p.t.Errorf("%s as %s: the refusal has the ETag %s", r.Route, who.name, tag)
	}
	p.inWords(r, who, a)
}

// inWords: a problem document of the API, a page of the pages, and JSON of what scripts ask for.
func (p *premises) inWords(r *rule, who *role, a *answer) {
	p.t.Helper()
	kind := a.header.Get("Content-Type")
	if r.api() {
		var doc struct {
			Status       int
			Code, Detail string
		}
		if err := json.Unmarshal([]byte(a.body), &doc); err != nil || kind != "application/problem+json" || doc.Status != a.status || doc.Code == "" || doc.Detail == "" {
			p.t.Errorf("%s as %s: no problem document (%s): %.300s", r.Route, who.name, kind, a.body)
		}
		return
	}
	words := map[int]string{403: "Not allowed", 401: "Nobody is signed in", 404: ""}[a.status]
	if !strings.Contains(a.body, words) && !strings.HasPrefix(kind, "application/json") {
		p.t.Errorf("%s as %s: the page does not say %q: %s", r.Route, who.name, words, a.brief())
	}
	if strings.Contains(a.body, "inside evenhand") {
		p.t.Errorf("%s as %s: an internal error", r.Route, who.name)
	}
}
