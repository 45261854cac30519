package api

import (
	"bufio"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

const dayBody = `{"team":"T","on":"2026-02-10","kind":"preseason","side_order":"throwing_first","every":0,"stations":[
 {"code":"CHECK","name":"Check-in","steps":[{"kind":"check_in"}]},
 {"code":"SHOULDER","name":"Shoulder","steps":[{"kind":"measure","measure":"shoulder_internal_rotation"},{"kind":"measure","measure":"shoulder_external_rotation","trials":3}]}]}`

func (r *rig) screeningDay() *rig {
	r.t.Helper()
	r.squad()
	r.do("PUT", "/api/v1/days/D", dayBody).is(201)
	return r
}

func entryBody(entries ...string) string {
	return `{"device":"tablet-1","sent":"2026-02-10T12:00:00Z","entries":[` + strings.Join(entries, ",") + `]}`
}

func stationReading(id, measure, side string, trials ...float64) string {
	return strings.Replace(reading(id, measure, side, trials...), `"measure"`, `"kind":"reading","athlete":"A","examiner":"KD","taken":"2026-02-10T11:58:00Z","about"`, 1)
}

func TestDays(t *testing.T) {
	r := newRig(t).squad()
	var plan screen.Day
	r.do("GET", "/api/v1/teams/T/days/plan", "").is(200).into(&plan)
	if len(plan.Stations) < 3 || plan.Stations[0].Code == "" {
		t.Errorf("%+v", plan)
	}
	r.do("PUT", "/api/v1/days/D", dayBody).is(201).tag(`"2"`)
	r.do("PUT", "/api/v1/days/D", dayBody).is(200)
	r.do("PUT", "/api/v1/days/D", strings.Replace(dayBody, `"throwing_first"`, `"left_first"`, 1)).is(428)
	r.do("PUT", "/api/v1/days/D", strings.Replace(dayBody, `"throwing_first"`, `"left_first"`, 1), "If-Match", `"2"`).is(200)
	var got dayAnswer
	r.do("GET", "/api/v1/days/D", "").is(200).into(&got)
	if got.SideOrder != "left_first" || len(got.Athletes) != 1 || got.Athletes[0].Name != "A. Example" || got.TeamName != "Blue" {
		t.Errorf("%+v", got)
	}
	var list struct{ Items []screen.Day }
	r.do("GET", "/api/v1/teams/T/days", "").is(200).into(&list)
	if len(list.Items) != 1 {
		t.Errorf("%d days", len(list.Items))
	}
	r.do("PUT", "/api/v1/days/E", strings.NewReplacer(`"shoulder_internal_rotation"`, `"shoulder_internal_rotaton"`, "CHECK", "C2", "SHOULDER", "S2").Replace(dayBody)).
		fault(422, "body.stations[1].steps[0].measure", "shoulder_internal_rotation")
	r.do("PUT", "/api/v1/days/E", strings.NewReplacer("CHECK", "C2", "SHOULDER", "S2").Replace(dayBody)).fault(422, "body.on", "choose another date")
	r.do("PUT", "/api/v1/days/E", strings.NewReplacer("CHECK", "C2", "02-10", "02-09").Replace(dayBody)).is(428) // SHOULDER leads to D
	r.do("GET", "/api/v1/days/E", "").fault(404, "", "no such")
	var closed screen.Day
	r.do("POST", "/api/v1/days/D/closing", `{"closed":true}`).is(200).into(&closed)
	if closed.Closed.IsZero() {
		t.Error("not closed")
	}
	r.do("POST", "/api/v1/days/D/closing", `{"closed":false}`, "If-Match", `"1"`).is(412)
	r.do("PUT", "/api/v1/athletes/B?team=T", athleteBody).is(201)
	r.do("POST", "/api/v1/days/D/athletes", `{"athletes":["B"]}`).is(204)
	r.do("POST", "/api/v1/days/D/athletes", `{"athletes":["nobody"]}`).is(422)
	r.do("PUT", "/api/v1/days/D/walk-ons/C", `{"name":"C. Walker","born":"2012-01-02","sex":"female","hand":"left","level":"youth"}`).is(200)
	r.do("PUT", "/api/v1/days/D/walk-ons/X", `{"name":"","born":"2012-01-02","sex":"female","hand":"left","level":"youth"}`).is(422)
	r.do("GET", "/api/v1/days/D", "").is(200).into(&got)
	if len(got.Athletes) != 3 || got.Athletes[2].Number != 3 {
		t.Errorf("%+v", got.Athletes)
	}
}

func TestStation(t *testing.T) {
	r := newRig(t).screeningDay()
	var sheet clinic.StationSheet
	a := r.do("GET", "/api/v1/stations/SHOULDER", "").is(200).into(&sheet)
	if len(sheet.Athletes) != 1 || sheet.Athletes[0].Done != "...." || sheet.Measures[1].Trials != 3 || len(sheet.Cells) != 4 {
		t.Errorf("%+v", sheet)
	}
	r.do("GET", "/api/v1/stations/SHOULDER", "", "If-None-Match", a.header.Get("ETag")).is(304)
	r.do("GET", "/api/v1/stations/NOWHERE", "").fault(404, "", "no such station")
	body := entryBody(stationReading("r1", "shoulder_internal_rotation", "right", 40, 41), stationReading("r2", "shoulder_internal_rotation", "left", 400))
	var out clinic.BatchResult
	r.do("PUT", "/api/v1/stations/SHOULDER/entries", body).is(200).into(&out)
	if len(out.Results) != 2 || out.Results[0].Status != "added" || out.Results[1].Status != "refused" || !strings.Contains(out.Results[1].Want, "0") {
		t.Errorf("%+v", out)
	}
	r.do("PUT", "/api/v1/stations/SHOULDER/entries", body).is(200).into(&out)
	if out.Results[0].Status != "already" {
		t.Errorf("%+v", out)
	}
	r.do("GET", "/api/v1/stations/SHOULDER", "", "If-None-Match", a.header.Get("ETag")).is(200).into(&sheet)
	if sheet.Athletes[0].Done != ".x.." || sheet.Seq != out.Seq {
		t.Errorf("%q, %d and %d", sheet.Athletes[0].Done, sheet.Seq, out.Seq)
	}
	r.do("PUT", "/api/v1/stations/NOWHERE/entries", body).fault(404, "", "no such station")
	r.do("PUT", "/api/v1/stations/SHOULDER/entries", entryBody()).fault(422, "body.entries", "1 to 500")
	r.do("PUT", "/api/v1/stations/SHOULDER/entries", `{"entries":1}`).is(422)
}

// What comes through stations scores as what comes through the plain record.
func TestStationsAndRecordsScoreAlike(t *testing.T) {
	r := newRig(t).screeningDay()
	r.do("PUT", "/api/v1/stations/SHOULDER/entries", entryBody(
		stationReading("x1", "shoulder_internal_rotation", "right", 40, 41, 42), stationReading("x2", "shoulder_internal_rotation", "left", 62, 63, 61),
		stationReading("x3", "shoulder_external_rotation", "right", 110, 111, 112), stationReading("x4", "shoulder_external_rotation", "left", 100, 101, 100))).is(200)
	var got dayAnswer
	r.do("GET", "/api/v1/days/D", "").into(&got)
	var one, two struct{ Findings []map[string]any }
	r.do("PUT", "/api/v1/screens/S/readings", strings.NewReplacer(`"id":"r1"`, `"id":"r1","examiner":"KD"`, `"id":"r2"`, `"id":"r2","examiner":"KD"`,
		`"id":"r3"`, `"id":"r3","examiner":"KD"`, `"id":"r4"`, `"id":"r4","examiner":"KD"`).Replace(shoulder)).is(200)
	r.do("GET", "/api/v1/screens/"+got.Athletes[0].Screen+"/score", "").is(200).into(&one)
	r.do("GET", "/api/v1/screens/S/score", "").is(200).into(&two)
	if len(one.Findings) == 0 || fmt.Sprint(one.Findings) != fmt.Sprint(two.Findings) {
		t.Errorf("by station %v\nby record %v", one.Findings, two.Findings)
	}
}

func TestEvents(t *testing.T) {
	r := newRig(t).screeningDay()
	srv := httptest.NewServer(r.router)
	defer srv.Close()
	for _, path := range []string{"/api/v1/days/D/events", "/api/v1/stations/SHOULDER/events"} {
		ctx, cancel := context.WithCancel(t.Context())
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, srv.URL+path, http.NoBody)
		if err != nil {
			t.Fatal(err)
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(res.Body)
		next := func(want string) {
			t.Helper()
			for lines.Scan() {
				if strings.HasPrefix(lines.Text(), want) {
					return
				}
			}
			t.Fatalf("the stream ends before %q: %v", want, lines.Err())
		}
		next(": connected")
		if got := res.Header.Get("Content-Type"); got != "text/event-stream" {
			t.Errorf("content type %q", got)
		}
		r.do("PUT", "/api/v1/stations/SHOULDER/entries", entryBody(stationReading("e"+fmt.Sprint(len(path)), "shoulder_internal_rotation", "right", 40))).is(200)
		next("event: changed")
		next(`data: {"seq":`)
		cancel()
		if err := res.Body.Close(); err != nil {
			t.Error(err)
		}
	}
	r.do("GET", "/api/v1/days/E/events", "").fault(404, "", "no such")
	r.do("GET", "/api/v1/stations/E/events", "").fault(404, "", "no such")
}
