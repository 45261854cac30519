package api

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

func TestTeams(t *testing.T) {
	r := newRig(t)
	var made screen.Team
	a := r.do("POST", "/api/v1/teams", teamBody).is(201).tag(`"1"`).into(&made)
	if made.ID != "made-1" || made.Name != "Blue" || a.header.Get("Location") != "/api/v1/teams/made-1" {
		t.Errorf("made %+v at %s", made, a.header.Get("Location"))
	}
	r.do("POST", "/api/v1/teams", `{"id":"T","name":"Green","sport":"baseball"}`).is(201)
	r.do("POST", "/api/v1/teams", `{"id":"T","name":"Green","sport":"baseball"}`).is(201)
	r.do("POST", "/api/v1/teams", `{"id":"T","name":"Red","sport":"baseball"}`).fault(409, "", "taken")
	r.do("GET", "/api/v1/teams/T", "").is(200).tag(`"1"`)
	r.do("GET", "/api/v1/teams/nowhere", "").fault(404, "", "no such team")
	r.do("PUT", "/api/v1/teams/bad%20id", teamBody).fault(422, "path.team", "letters, digits")
	r.do("POST", "/api/v1/teams", `{"id":"bad id","name":"Red","sport":"baseball"}`).fault(422, "body.id", "letters, digits")
	r.do("POST", "/api/v1/teams", `{"name":"Red","sport":"chess"}`).fault(422, "body.sport", "one of: ")
	r.do("PUT", "/api/v1/teams/T", `{"id":"U","name":"Red","sport":"baseball"}`).fault(422, "body.id", `"T"`)
}

// Every single resource is created, sent again, read, changed and protected in the same way.
func TestEdits(t *testing.T) {
	for _, c := range []struct{ path, body, changed, tag, next string }{
		{"/api/v1/teams/T2", teamBody, `{"name":"Red","sport":"baseball"}`, `"1"`, `"2"`},
		{"/api/v1/athletes/A2", athleteBody, strings.Replace(athleteBody, "A. Example", "B. Example", 1), `"1"`, `"2"`},
		{"/api/v1/screens/S2", screenBody, strings.Replace(screenBody, "preseason", "rehab", 1), `"1.1"`, `"2.1"`},
	} {
		t.Run(c.path, func(t *testing.T) {
			r := newRig(t).squad()
			r.do("PUT", c.path, c.body, "If-Match", `"1"`).fault(404, "", "no such")
			r.do("PUT", c.path, c.body, "If-None-Match", "*").is(201).tag(`"1"`)
			r.do("PUT", c.path, c.body).is(200).tag(`"1"`)
			a := r.do("GET", c.path, "").is(200).tag(c.tag)
			r.do("GET", c.path, "", "If-None-Match", c.tag).is(304).tag(c.tag)
			r.do("GET", c.path, "", "If-None-Match", `"99", W/`+c.tag).is(304)
			r.do("GET", c.path, "", "If-None-Match", "*").is(304)
			r.do("GET", c.path, "", "If-None-Match", `"99"`).is(200)
			r.do("PUT", c.path, c.changed).fault(428, "", "If-Match")
			r.do("PUT", c.path, c.changed, "If-None-Match", "*").fault(412, "", "already")
			r.do("PUT", c.path, c.changed, "If-Match", `"9"`).fault(412, "", "meanwhile")
			r.do("PUT", c.path, c.changed, "If-Match", `"0"`).fault(412, "", "no version")
			r.do("PUT", c.path, c.changed, "If-Match", "W/"+c.tag).fault(412, "", "no version")
			r.do("PUT", c.path, c.changed, "If-Match", `*`).fault(400, "header.If-Match", `"7"`)
			r.do("PUT", c.path, c.changed, "If-Match", `"x"`).fault(400, "header.If-Match", `"7"`)
			r.do("PUT", c.path, c.changed, "If-None-Match", `"1"`).fault(400, "header.If-None-Match", "to create")
			if b := r.do("GET", c.path, "").is(200).tag(c.tag); string(b.body) != string(a.body) {
				t.Errorf("a refused change was kept: %s, before %s", b.body, a.body)
			}
			r.do("PUT", c.path, c.changed, "If-Match", c.tag).is(200).tag(`"2"`)
			b := r.do("GET", c.path, "", "If-None-Match", c.tag).is(200).tag(c.next)
			if c.path != "/api/v1/screens/S2" { // what was read may be sent back as it is; a screen is read with more
				r.do("PUT", c.path, string(b.body), "If-Match", `"2"`).is(200).tag(`"2"`)
			}
		})
	}
}

func TestSeasonsAndMembers(t *testing.T) {
	r := newRig(t).squad()
	season := `{"name":"Spring","from":"2026-02-01","to":"2026-06-30"}`
	r.do("PUT", "/api/v1/teams/T/seasons/Q", season).is(201)
	r.do("PUT", "/api/v1/teams/T/seasons/Q", season).is(200)
	r.do("PUT", "/api/v1/teams/nowhere/seasons/Q2", season).fault(404, "", "no such team")
	r.do("PUT", "/api/v1/teams/T/seasons/Q", strings.Replace(season, "Spring", "Summer", 1)).fault(428, "", "If-Match")
	r.do("PUT", "/api/v1/teams/T/seasons/Q2", strings.Replace(season, "06-30", "01-30", 1)).fault(422, "body.to", "on or after")
	var seasons items
	tag := r.do("GET", "/api/v1/teams/T/seasons", "").is(200).into(&seasons).header.Get("ETag")
	if len(seasons.Items) != 1 || seasons.Items[0].ID != "Q" {
		t.Errorf("seasons %+v", seasons)
	}
	r.do("PUT", "/api/v1/teams/T/seasons/Q", strings.Replace(season, "Spring", "Summer", 1), "If-Match", tag).is(200)
	r.do("PUT", "/api/v1/teams/T/seasons/Q", season, "If-Match", tag).fault(412, "", "meanwhile")

	r.do("PUT", "/api/v1/athletes/B", athleteBody).is(201)
	r.do("PUT", "/api/v1/teams/T/members/M", `{"athlete":"B","season":"Q","from":"2026-02-01"}`).is(201)
	r.do("PUT", "/api/v1/teams/T/members/M", `{"athlete":"B","season":"Q","from":"2026-02-01"}`).is(200)
	r.do("PUT", "/api/v1/teams/T/members/M2", `{"athlete":"nobody"}`).fault(422, "", "no such athlete")
	var members items
	tag = r.do("GET", "/api/v1/teams/T/members", "").is(200).into(&members).header.Get("ETag")
	if len(members.Items) != 2 {
		t.Errorf("members %+v", members)
	}
	r.do("PUT", "/api/v1/teams/T/members/M", `{"athlete":"B","season":"Q","from":"2026-02-01","to":"2026-03-01"}`, "If-Match", tag).is(200)
	r.do("GET", "/api/v1/teams/nowhere/members", "").fault(404, "", "no such team")
	r.do("GET", "/api/v1/teams/nowhere/seasons", "").fault(404, "", "no such team")
}

// Every list that comes in parts gives each entry once, whatever the size of the parts.
func TestLists(t *testing.T) {
	r := newRig(t).squad()
	for i := range 7 {
		r.do("PUT", fmt.Sprintf("/api/v1/teams/T%d", i), teamBody).is(201)
		r.do("PUT", fmt.Sprintf("/api/v1/athletes/A%d?team=T", i), athleteBody).is(201)
		r.do("PUT", fmt.Sprintf("/api/v1/screens/S%d", i), screenBody).is(201)
	}
	for _, path := range []string{"/api/v1/teams", "/api/v1/athletes", "/api/v1/athletes?team=T", "/api/v1/teams/T/screens", "/api/v1/athletes/A/screens"} {
		seen, after, parts := map[string]bool{}, "", 0
		sep := "?"
		if strings.Contains(path, "?") {
			sep = "&"
		}
		for parts == 0 || after != "" {
			var got items
			r.do("GET", path+sep+"limit=3&after="+url.QueryEscape(after), "").is(200).into(&got)
			for _, x := range got.Items {
				if seen[x.ID] {
					t.Errorf("%s: %s came twice", path, x.ID)
				}
				seen[x.ID] = true
			}
			after = got.Next
			parts++
		}
		if len(seen) != 8 || parts != 3 {
			t.Errorf("%s: %d entries in %d parts", path, len(seen), parts)
		}
		for query, location := range map[string]string{"limit=0": "query.limit", "limit=501": "query.limit", "limit=x": "query.limit",
			"after=x": "query.after", "colour=red": "query.colour"} {
			r.do("GET", path+sep+query, "").fault(422, location, "")
		}
	}
	var none items
	if a := r.do("GET", "/api/v1/teams/T0/screens", "").is(200).into(&none); !strings.Contains(string(a.body), `"items":[]`) {
		t.Errorf("an empty list is %s", a.body)
	}
	r.do("GET", "/api/v1/athletes?team=nowhere", "").fault(404, "", "no such team")
	r.do("GET", "/api/v1/teams/nowhere/screens", "").fault(404, "", "no such team")
	r.do("GET", "/api/v1/athletes/nobody/screens", "").fault(404, "", "no such athlete")
}
