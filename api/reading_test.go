package api

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

type readingsAnswer struct {
	Items []screen.Reading `json:"items"`
}

func TestPutReadingsTwice(t *testing.T) {
	r := newRig(t).squad()
	var first, second clinic.Saved
	a := r.do("PUT", "/api/v1/screens/S/readings", shoulder).is(200).into(&first)
	b := r.do("PUT", "/api/v1/screens/S/readings", shoulder).is(200).into(&second)
	if first.Added != 4 || second.Added != 0 || second.Already != 4 || first.Revision != 2 || second.Revision != 2 {
		t.Errorf("first %+v, second %+v", first, second)
	}
	a.tag(`"2"`)
	b.tag(`"2"`)
	var got readingsAnswer
	r.do("GET", "/api/v1/screens/S/readings", "").is(200).tag(`"2"`).into(&got)
	if len(got.Items) != 4 || got.Items[0].ID != "r1" || got.Items[0].Trials[2] != 42 || got.Items[0].EnteredBy != "local" {
		t.Errorf("readings %+v", got)
	}
	r.do("GET", "/api/v1/screens/S/readings", "", "If-None-Match", `"2"`).is(304)
	r.do("GET", "/api/v1/screens/nowhere/readings", "").fault(404, "", "no such screen")
	r.do("PUT", "/api/v1/screens/nowhere/readings", shoulder).fault(404, "", "no such screen")
	r.do("PUT", "/api/v1/screens/S/readings", readingsBody(reading("r1", "shoulder_internal_rotation", "right", 1))).fault(409, "", "taken")
	r.do("GET", "/api/v1/screens/S/readings", "").is(200).tag(`"2"`)
}

// The answer is kept encoded; it must follow every write.
func TestReadingsFollowWrites(t *testing.T) {
	r := newRig(t).measured()
	var got readingsAnswer
	r.do("GET", "/api/v1/screens/S/readings", "").is(200).into(&got)
	again := r.do("GET", "/api/v1/screens/S/readings", "").is(200)
	r.do("POST", "/api/v1/readings/r1/correction", `{"id":"c1","trials":[50],"why":"read the wrong scale"}`).is(201)
	after := r.do("GET", "/api/v1/screens/S/readings", "").is(200).tag(`"3"`)
	if bytes.Equal(again.body, after.body) {
		t.Error("the correction is not in the answer")
	}
	after.into(&got)
	if len(got.Items) != 5 || got.Items[0].Superseded != "c1" || got.Items[4].Supersedes != "r1" || got.Items[4].Why == "" {
		t.Errorf("readings %+v", got.Items)
	}
}

func TestCorrection(t *testing.T) {
	r := newRig(t).measured()
	for _, c := range []struct {
		path, body       string
		status           int
		location, saying string
	}{
		{"r1", `{"trials":[50],"why":""}`, 422, "body.why", "reason"},
		{"r1", `{"trials":[50]}`, 422, "body.why", "missing"},
		{"r1", `{"trials":[],"why":"x"}`, 422, "body.trials", "1 to"},
		{"r1", `{"trials":[50,5000],"why":"x"}`, 422, "body.trials[1]", "plausible"},
		{"r1", `{"trials":[50],"why":"x","id":"bad id"}`, 422, "body.id", "letters"},
		{"r1", `{"trials":[50],"why":"x","taken":"9999-12-31T23:59:59-23:00"}`, 422, "body.taken", "10000"},
		{"r1", `{"trials":[50],"why":"x","sign":"up"}`, 422, "body.sign", "leave it out"},
		{"nothing", `{"trials":[50],"why":"x"}`, 404, "", "no such reading"},
	} {
		r.do("POST", "/api/v1/readings/"+c.path+"/correction", c.body).fault(c.status, c.location, c.saying)
	}
	if n, rev := r.counts(); n != 4 || rev != 2 {
		t.Errorf("%d readings at revision %d: something was kept", n, rev)
	}
	var got screen.Reading
	body := `{"id":"c1","trials":[50],"why":"read the wrong scale"}`
	r.do("POST", "/api/v1/readings/r1/correction", body).is(201).into(&got)
	if got.Supersedes != "r1" || got.Measure != "shoulder_internal_rotation" || got.Side != "right" {
		t.Errorf("correction %+v", got)
	}
	r.do("POST", "/api/v1/readings/r1/correction", body).is(201)
	r.do("POST", "/api/v1/readings/r1/correction", `{"trials":[51],"why":"again"}`).fault(409, "", "corrected already")
}

// badReadings is the table of inputs that must be refused, each with its place, and change nothing.
var badReadings = []struct {
	name, body string
	status     int
	location   string
	says       string
}{
	{"outside the plausible range", readingsBody(reading("x", "shoulder_internal_rotation", "left", 40, 4000)), 422, "body.readings[0].trials[1]", "plausible range"},
	{"a paired measure without a side", readingsBody(reading("x", "shoulder_internal_rotation", "none", 40)), 422, "body.readings[0].side", "left or right"},
	{"no side at all", `{"readings":[{"id":"x","measure":"shoulder_internal_rotation","trials":[40]}]}`, 422, "body.readings[0].side", "missing"},
	{"an unknown side", readingsBody(reading("x", "shoulder_internal_rotation", "port", 40)), 422, "body.readings[0].side", "left, right, none"},
	{"an unknown measure", readingsBody(reading("x", "shoulder_internal_rotatoin", "left", 40)), 422, "body.readings[0].measure", `did you mean "shoulder_internal_rotation"?`},
	{"no trials", readingsBody(reading("x", "shoulder_internal_rotation", "left", []float64{}...)), 422, "body.readings[0].trials", "1 to"},
	{"trials null", `{"readings":[{"id":"x","measure":"shoulder_internal_rotation","side":"left","trials":null}]}`, 422, "body.readings[0].trials", "a list"},
	{"200 trials", readingsBody(reading("x", "shoulder_internal_rotation", "left", make([]float64, 200)...)), 422, "body.readings[0].trials", "200 trials"},
	{"NaN", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40, 41), "41", "NaN", 1)), 400, "body.readings[0].trials[1]", "line 1, column 90"},
	{"infinity", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40, 41), "41", "-Infinity", 1)), 400, "body.readings[0].trials[1]", "not JSON"},
	{"1e999", readingsBody(reading("y", "shoulder_internal_rotation", "right", 40), strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40, 41), "41", "1e999", 1)), 400, "body.readings[1].trials[1]", "1e999"},
	{"-1e999", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40, 41), "41", "-1e999", 1)), 400, "body.readings[0].trials[1]", "1e999"},
	{"a number as text", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40, 41), "41", `"41"`, 1)), 422, "body.readings[0].trials[1]", "a number"},
	{"null for a number", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40, 41), "41", `null`, 1)), 422, "body.readings[0].trials[1]", "a number"},
	{"an id twice", readingsBody(reading("x", "shoulder_internal_rotation", "left", 40), reading("x", "shoulder_internal_rotation", "right", 40)), 422, "body.readings[1].id", "readings[0]"},
	{"an id that is none", readingsBody(reading("x y", "shoulder_internal_rotation", "left", 40)), 422, "body.readings[0].id", "is not an id"},
	{"an unknown field", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40), `"trials"`, `"trails"`, 1)), 422, "body.readings[0].trails", `did you mean "trials"?`},
	{"a field of another record", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40), `"side"`, `"screen":"S2","side"`, 1)), 422, "body.readings[0].screen", "unknown field"},
	{"a field twice", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40), `"side"`, `"side":"right","s\u0069de"`, 1)), 400, "body.readings[0].side", "twice"},
	{"elbow extension without a sign word", readingsBody(reading("x", "elbow_extension", "left", 5)), 422, "body.readings[0].sign", "say sign"},
	{"a sign word that is none", readingsBody(strings.Replace(reading("x", "elbow_extension", "left", 5), `"trials"`, `"sign":"minus","trials"`, 1)), 422, "body.readings[0].sign", "unknown sign word"},
	{"no readings", readingsBody(), 422, "body.readings", "1 to 5000"},
	{"readings null", `{"readings":null}`, 422, "body.readings", "a list"},
	{"no list", `{}`, 422, "body.readings", "missing"},
	{"a list as the body", `[]`, 422, "body", "an object"},
	{"text as the body", `"{}"`, 422, "body", "an object"},
	{"an empty body", ``, 400, "body", "missing"},
	{"half a body", `{"readings":[{"id":"x"`, 400, "body.readings[0]", "ends in the middle"},
	{"two bodies", shoulder + shoulder, 400, "body", "follows"},
	{"a time that is none", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40), `"side"`, `"taken":"noon","side"`, 1)), 422, "body.readings[0].taken", "date-time"},
	{"a time that cannot be written", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40), `"side"`, `"taken":"9999-12-31T23:59:59-23:00","side"`, 1)), 422, "body.readings[0].taken", "10000"},
	{"a step below zero", readingsBody(strings.Replace(reading("x", "shoulder_internal_rotation", "left", 40), `"side"`, `"step":-1,"side"`, 1)), 422, "body.readings[0].step", "smallest step"},
	{"one bad reading among good ones", readingsBody(reading("x", "shoulder_internal_rotation", "left", 40), reading("y", "shoulder_internal_rotation", "right", -1000)), 422, "body.readings[1].trials[0]", "plausible range"},
}

func TestBadReadings(t *testing.T) {
	r := newRig(t).measured()
	before := r.do("GET", "/api/v1/screens/S", "").is(200)
	for _, c := range badReadings {
		t.Run(c.name, func(t *testing.T) {
			r := *r
			r.t = t
			r.do("PUT", "/api/v1/screens/S/readings", c.body, "Content-Type", "application/json").fault(c.status, c.location, c.says)
			if after := r.do("GET", "/api/v1/screens/S", "").is(200); !bytes.Equal(before.body, after.body) {
				t.Errorf("something was kept: %s", after.body)
			}
		})
	}
}

// The shipped protocol has only paired measures, so one without sides is added to it.
func TestUnpairedMeasure(t *testing.T) {
	p, err := screen.LoadProtocol("test.yaml", strings.NewReader(`
extends: default
name: test
version: "1"
title: Test
measures:
  - id: body_height
    name: Height
    link: trunk
    unit: cm
    paired: false
    worse: neither
    scale: linear
    trials: {planned: 1, most: 3, combine: mean}
    plausible: [50, 250]
    range_status: assumed
    error: {trial: {value: 0.5, status: assumed}, within: {sem: 0.5, trials: 1, same_session: true, status: assumed}}
`))
	if err != nil {
		t.Fatal(err)
	}
	r := newRigWith(t, p).squad()
	r.do("PUT", "/api/v1/screens/S/readings", readingsBody(reading("x", "body_height", "left", 170))).fault(422, "body.readings[0].side", "has no side")
	r.do("PUT", "/api/v1/screens/S/readings", readingsBody(reading("x", "body_height", "none", 170))).is(200)
}

// A form that two stations send at the same time is one set of readings, and different ones are all
// kept.
func TestConcurrentReadings(t *testing.T) {
	r := newRig(t).squad()
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			own := readingsBody(reading(fmt.Sprintf("own-%d", i), "hip_internal_rotation", "left", 30+float64(i)))
			for _, a := range []*answered{r.do("PUT", "/api/v1/screens/S/readings", shoulder), r.do("PUT", "/api/v1/screens/S/readings", own),
				r.do("GET", "/api/v1/screens/S/readings", "")} {
				if a.status != 200 {
					t.Errorf("status %d: %s", a.status, a.body)
				}
			}
		})
	}
	wg.Wait()
	if n, _ := r.counts(); n != 12 {
		t.Errorf("%d readings, want 12", n)
	}
}

// Of many who change the same version of a record, one succeeds.
func TestConcurrentEdits(t *testing.T) {
	r := newRig(t).squad()
	r.do("GET", "/api/v1/teams/T", "").tag(`"2"`) // an athlete joined
	var wg sync.WaitGroup
	statuses := make([]int, 8)
	for i := range statuses {
		wg.Go(func() {
			statuses[i] = r.do("PUT", "/api/v1/teams/T", fmt.Sprintf(`{"name":"Team %d","sport":"baseball"}`, i), "If-Match", `"2"`).status
		})
	}
	wg.Wait()
	won := 0
	for _, s := range statuses {
		if s == 200 {
			won++
		} else if s != 412 {
			t.Errorf("status %d", s)
		}
	}
	if won != 1 {
		t.Errorf("%d changes of one version succeeded: %v", won, statuses)
	}
}
