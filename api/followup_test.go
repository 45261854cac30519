package api

import (
	"strings"
	"testing"

	ical "github.com/emersion/go-ical"
	"github.com/getkin/kin-openapi/openapi3filter"

	"evenhand/internal/clinic"
)

// The validator knows no calendars: as a text it is held against the document.
func init() {
	openapi3filter.RegisterBodyDecoder(typeCalendar, openapi3filter.RegisteredBodyDecoder("text/plain"))
}

func TestFollowUp(t *testing.T) {
	r := newRig(t).squad()
	r.do("PUT", "/api/v1/athletes/B?team=T", strings.Replace(athleteBody, "A. Example", "B. Example", 1)).is(201)
	r.do("PUT", "/api/v1/screens/S/readings", readingsBody(reading("r1", "shoulder_internal_rotation", "right", 30, 31), reading("r2", "shoulder_internal_rotation", "left", 62, 63))).is(200)
	var got clinic.FollowList
	r.do("GET", "/api/v1/teams/T/follow-up", "").is(200).into(&got)
	if len(got.Rows) != 2 || got.Rows[0].Athlete != "A" || got.Rows[0].Due == nil || len(got.Rows[0].Lines) == 0 || got.Rows[1].Group != clinic.FollowFirst {
		t.Fatalf("%+v", got)
	}
	for _, names := range []bool{false, true} {
		address := "/api/v1/teams/T/follow-up.ics"
		if names {
			address += "?names=true"
		}
		a := r.do("GET", address, "").is(200)
		cal, err := ical.NewDecoder(strings.NewReader(string(a.body))).Decode() // not the library that wrote it
		if err != nil || len(cal.Events()) != 1 {
			t.Fatalf("%v: %s", err, a.body)
		}
		start, err := cal.Events()[0].DateTimeStart(nil)
		if err != nil || start.Format("2006-01-02") != string(got.Rows[0].Due.On) {
			t.Errorf("starts %v, %v; due %s", start, err, got.Rows[0].Due.On)
		}
		if strings.Contains(string(a.body), "Example") != names || strings.Contains(string(a.body), "deficit") {
			t.Errorf("names %v: %s", names, a.body)
		}
	}
	r.do("GET", "/api/v1/teams/nowhere/follow-up", "").fault(404, "", "no such team")
	r.do("GET", "/api/v1/teams/nowhere/follow-up.ics", "").fault(404, "", "no such team")
}
