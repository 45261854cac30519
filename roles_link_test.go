package main

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
)

// sendAs sends a request with exactly the headers given.
func (p *premises) sendAs(method, target, body string, headers map[string]string) answer {
	p.t.Helper()
	return p.send(&nobodyAtAll, &sent{method: method, target: target, body: body, headers: headers})
}

// TestStationLinkReadsNothing: who holds a station's link, or that of a family, gets no further by it,
// wherever it is put.
func TestStationLinkReadsNothing(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	before, asked := p.rows(), 0
	for _, secret := range []string{s.names["code"], s.names["family"]} {
		for _, r := range rulesToSend(t) {
			if r.Link != "" || r.Action == "public" {
				continue
			}
			for _, headers := range []map[string]string{
				{"Authorization": "Bearer " + secret}, {"Authorization": "Bearer evh_" + secret}, {"Cookie": "evenhand=" + secret},
				{"Referer": rolesBase + "/s/" + secret}, {"X-Station": secret},
			} {
				asked++
				req := s.request(t, r, &nobodyAtAll, nil, nil)
				for k, v := range headers {
					req.headers[k] = v
				}
				req.target = withQuery(req.target, "code="+secret+"&station="+secret+"&secret="+secret)
				a := p.send(&nobodyAtAll, req)
				p.isShut(r, &a, fmt.Sprint(headers))
			}
		}
	}
	same(t, "after requests by links", before, p.rows(), "")
	if !racing && asked < 1000 {
		t.Errorf("only %d requests were sent", asked)
	}
}

func withQuery(target, query string) string {
	if strings.Contains(target, "?") {
		return target + "&" + query
	}
	return target + "?" + query
}

// isShut fails unless an answer is the one for somebody whom nobody knows. A query that no route knows
// may be told of first.
func (p *premises) isShut(r *rule, a *answer, how string) {
	p.t.Helper()
	to := a.header.Get("Location")
	switch {
	case a.status == http.StatusUnauthorized, a.status == http.StatusSeeOther && strings.HasPrefix(to, "/sign-in?next="):
	case a.status == http.StatusUnprocessableEntity && r.api() && strings.Contains(a.body, "unknown query parameter"):
	default:
		p.t.Errorf("%s with %s: status %d: %s", r.Route, how, a.status, a.brief())
	}
	p.tellsNothing(r.Route+" with "+how, a, append(ownText.health(), ownText.name, otherText.name))
}

// TestStationLinkShowsItsSheet: at its own address a station has its sheet, and of other stations only
// what is behind their own links. What a helper is shown is the list of the day, and no record.
func TestStationLinkShowsItsSheet(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	for _, path := range []string{"/api/v1/stations/", "/s/"} {
		a := p.sendAs("GET", path+s.names["code"], "", nil)
		if a.status != http.StatusOK || !strings.Contains(a.body, "B. "+ownText.name) {
			t.Errorf("%s: status %d: %s", path, a.status, a.brief())
		}
		p.tellsNothing(path, &a, append(ownText.health(), ownText.born, otherText.name, s.names["code.b"], s.names["code.past"], "170", "own-screen"))
		b := p.sendAs("GET", path+s.names["code.b"], "", nil)
		if b.status != http.StatusOK || strings.Contains(b.body, s.names["code"]) {
			t.Errorf("%s of the other station: status %d: %s", path, b.status, b.brief())
		}
		c := p.sendAs("GET", path+s.names["none.code"], "", nil)
		if c.status != http.StatusNotFound {
			t.Errorf("%s of no station: status %d: %s", path, c.status, c.brief())
		}
	}
}

// TestStationLinkEnds: a link that was renewed leads nowhere, in the words of one that there never was;
// so does one when its day is long past.
func TestStationLinkEnds(t *testing.T) {
	s := sharedSite(t)
	p, clinician := s.open(t, rolesNoon), s.role(access.Clinician)
	a := p.send(&clinician, &sent{method: "POST", target: "/api/v1/days/own-day/stations/" + s.names["code"] + "/renewal"})
	if a.status != http.StatusOK {
		t.Fatalf("renewal: status %d: %s", a.status, a.brief())
	}
	p.leadsNowhere("renewed", s.names["code"])
	b := p.sendAs("GET", "/api/v1/stations/"+s.names["code.b"], "", nil)
	if b.status != http.StatusOK {
		t.Errorf("the other station of the day: status %d: %s", b.status, b.brief())
	}
	for days, works := range map[int]bool{0: true, 14: true, 15: false, 400: false} {
		q := s.open(t, rolesNoon.AddDate(0, 0, days))
		if !works {
			q.leadsNowhere(fmt.Sprintf("%d days later", days), s.names["code"])
			continue
		}
		if a := q.sendAs("GET", "/api/v1/stations/"+s.names["code"], "", nil); a.status != http.StatusOK {
			t.Errorf("%d days later: status %d: %s", days, a.status, a.brief())
		}
	}
}

func (p *premises) leadsNowhere(what, code string) {
	p.t.Helper()
	before := p.rows()
	entry := `{"device":"d","entries":[{"id":"late-entry","kind":"check_in","athlete":"own-athlete1","examiner":"h","threw_in_48h":true}]}`
	for _, x := range []struct{ method, path, rest, body string }{
		{"GET", "/api/v1/stations/", "", ""}, {"GET", "/api/v1/stations/", "/events", ""}, {"PUT", "/api/v1/stations/", "/entries", entry}, {"GET", "/s/", "", ""},
	} {
		headers := map[string]string{"Content-Type": "application/json"}
		a := p.sendAs(x.method, x.path+code+x.rest, x.body, headers)
		b := p.sendAs(x.method, x.path+p.site.names["none.code"]+x.rest, x.body, headers)
		if a.status != http.StatusNotFound || plain(&a) != plain(&b) {
			p.t.Errorf("%s: %s %s…%s: status %d, %d for one that there never was: %s", what, x.method, x.path, x.rest, a.status, b.status, a.brief())
		}
	}
	same(p.t, what, before, p.rows(), "")
}

// TestStationCodesCannotBeTried: after so many codes that do not exist an address has to wait.
func TestStationCodesCannotBeTried(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	tried := 0
	for ; tried < 200; tried++ {
		n := rolesFrom.Load()
		rolesFrom.Store(1<<23 - 1) // the same address for all
		a := p.sendAs("GET", fmt.Sprintf("/api/v1/stations/TRY%05d", tried), "", nil)
		rolesFrom.Store(n)
		if a.status == http.StatusTooManyRequests {
			break
		}
	}
	if tried < 10 || tried > 50 {
		t.Errorf("%d codes could be tried", tried)
	}
}

// TestFamilyLinkEnds: a link shows its athlete's page and nothing of others, until it is taken back or
// past.
func TestFamilyLinkEnds(t *testing.T) {
	s := sharedSite(t)
	p, trainer := s.open(t, rolesNoon), s.role(access.Trainer)
	at := "/f/" + s.names["family"]
	a := p.sendAs("GET", at, "", nil)
	if a.status != http.StatusOK || !strings.Contains(a.body, "B. "+ownText.name) {
		t.Fatalf("status %d: %s", a.status, a.brief())
	}
	p.tellsNothing("the family's page", &a, []string{"C. " + ownText.name, "D. " + ownText.name, otherText.name, ownText.note})
	none := p.sendAs("GET", "/f/"+s.names["none.family"], "", nil)
	b := p.send(&trainer, &sent{method: "POST", target: "/athletes/own-athlete1/links/" + s.names["link"] + "/revoke"})
	if b.status != http.StatusSeeOther {
		t.Fatalf("taking it back: status %d: %s", b.status, b.brief())
	}
	for what, q := range map[string]*premises{"taken back": p, "past": s.open(t, rolesNoon.Add(31*24*time.Hour))} {
		if a := q.sendAs("GET", at, "", nil); a.status != http.StatusNotFound || a.body != none.body {
			t.Errorf("%s: status %d: %s", what, a.status, a.brief())
		}
	}
}
