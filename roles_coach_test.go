package main

import (
	"net/http"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

// unreadable are the texts that no coach and no helper reads: values and notes, names of symptoms, what
// was found, and the tags that tell one state of a record from another. The words of a protocol may
// stand in what is said of nobody: see saysOfNobody.
func (s *site) unreadable(t testing.TB) (out []string) {
	t.Helper()
	out = ownText.health()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	for i := range p.Symptoms {
		out = append(out, p.Symptoms[i].ID, p.Symptoms[i].Name)
	}
	for _, r := range p.Rules {
		out = append(out, r.ID)
	}
	return append(out, "deficit", "unsettled")
}

// saysOfNobody are addresses that show the protocol, or the words of the program, to whoever comes.
var saysOfNobody = map[string]bool{
	"/api/v1/protocol": true, "/api/v1/protocol/check": true, "/api/v1/score": true, "/api/docs": true, "/api/openapi.json": true,
	"/api/openapi.yaml": true, "/protocol": true, "/assets/*name": true, "/s/sw.js": true,
}

// atStation are the addresses that a helper's station reads: its sheet asks about symptoms, and its page
// holds the same. What a helper entered there is not shown again.
var atStation = map[string]bool{"/api/v1/stations/:code": true, "/s/:code": true, "/api/v1/stations/:code/entries": true}

// TestCoachSeesNoReadings reads and writes at every route as the coach and as a helper of the team: no
// value, symptom, note, verdict or tag of a record stands in any answer, whatever its status.
func TestCoachSeesNoReadings(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	trainer, texts, asked, tagged, told := s.role(access.Trainer), s.unreadable(t), 0, 0, 0
	for _, r := range rulesToSend(t) {
		for _, name := range []access.Role{access.Coach, access.Helper} {
			who := s.role(name)
			if r.Link == "family" {
				continue // the family's own page, behind a secret that neither has
			}
			if !r.reads() {
				if !r.may(&who) || r.Action == "public" {
					asked++
					p.writesBlind(r, &who, texts)
				}
				continue
			}
			req := s.request(t, r, &who, nil, nil)
			seen := p.send(&trainer, req)
			told += p.tells(&seen, texts)
			tag := seen.header.Get("ETag")
			if tag != "" {
				tagged++
			}
			for _, known := range []string{"", tag, "*"} {
				asked++
				p.readsBlind(r, &who, req, known, tag, texts)
			}
		}
	}
	if !racing && (asked < 700 || tagged < 10 || told < 200) {
		t.Errorf("only %d requests were sent, %d of them for what has a tag; the trainer saw %d of the texts", asked, tagged, told)
	}
}

// readsBlind reads with a tag that somebody else was given. tag is the one of the record now.
func (p *premises) readsBlind(r *rule, who *role, req *sent, known, tag string, texts []string) {
	p.t.Helper()
	ask := *req
	ask.headers = map[string]string{}
	if known != "" {
		ask.headers["If-None-Match"] = known
	}
	a := p.send(who, &ask)
	what := "GET " + r.path() + " as " + who.name
	if saysOfNobody[r.path()] {
		return
	}
	if a.status == http.StatusNotModified && !r.may(who) && r.Link == "" {
		p.t.Errorf("%s: 304 for the tag %s", what, known)
	}
	if !r.may(who) && r.Link == "" && tag != "" && a.header.Get("ETag") != "" {
		p.t.Errorf("%s: the refusal has the ETag %s", what, a.header.Get("ETag"))
	}
	hidden := texts
	if atStation[r.path()] {
		hidden = ownText.health()
	}
	p.hides(what, &a, hidden)
	if head := ask; p.heads[r.path()] {
		head.method = http.MethodHead
		b := p.send(who, &head)
		p.hides("HEAD "+r.path()+" as "+who.name, &b, hidden)
	}
}

// writesBlind writes what is right, nothing, and what is not right: errors must not tell either.
func (p *premises) writesBlind(r *rule, who *role, texts []string) {
	p.t.Helper()
	req := p.site.request(p.t, r, who, nil, nil)
	for _, body := range []string{req.body, "", "{}", `{"why":`, "revision=x"} {
		ask := *req
		ask.body = body
		a := p.send(who, &ask)
		if saysOfNobody[r.path()] || r.api() && a.status == http.StatusUnprocessableEntity && body != req.body {
			continue // names of fields that are missing, before anything is looked up
		}
		p.hides(r.Route+" as "+who.name, &a, texts)
	}
}

// tells counts the texts that stand in an answer.
func (p *premises) tells(a *answer, texts []string) (n int) {
	all := strings.ToLower(a.all())
	for _, x := range texts {
		if strings.Contains(all, strings.ToLower(x)) {
			n++
		}
	}
	return n
}

// hides fails if a text stands in an answer. The cautions at the foot of every page, and the words for
// what was sent by oneself, say nothing of anybody.
func (p *premises) hides(what string, a *answer, texts []string) {
	p.t.Helper()
	b := *a
	if before, _, ok := strings.Cut(b.body, "<footer"); ok {
		b.body = before
	}
	p.tellsNothing(what, &b, texts)
}
