package exchange

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

const eventJSON = `{"athletes":[{"id":"a1","name":"Kim Tandrel","born":"2011-04-02","sex":"female","throws":"left","sport":"baseball","level":"youth"}],
"events":[
{"id":"v1","athlete":"a1","on":"2026-02-12","kind":"injury","link":"shoulder","side":"left","note":"a note"},
{"id":"v2","athlete":"a1","on":"2026-02-28","kind":"clearance","note":"Clinician","limits":"up to 20 m"}]}`

func TestReadEvents(t *testing.T) {
	d, err := readJSON(t, eventJSON, Options{Team: "t1"})
	if err != nil {
		t.Fatal(err)
	}
	want := []screen.Event{
		{ID: "v1", Athlete: "a1", On: "2026-02-12", Kind: screen.EventInjury, Link: "shoulder", Side: screen.Left, Note: "a note"},
		{ID: "v2", Athlete: "a1", On: "2026-02-28", Kind: screen.EventClearance, Note: "Clinician", Limits: "up to 20 m"},
	}
	if !reflect.DeepEqual(d.Events, want) {
		t.Errorf("\n got %+v\nwant %+v", d.Events, want)
	}
}

// What is written is read again, limits included.
func TestEventsComeBack(t *testing.T) {
	d, err := readJSON(t, eventJSON, Options{Team: "t1"})
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := WriteJSON(&out, protocol(t), d); err != nil {
		t.Fatal(err)
	}
	again, err := readJSON(t, out.String(), Options{Team: "t1"})
	if err != nil || !reflect.DeepEqual(again.Events, d.Events) {
		t.Errorf("%v\n got %+v\nwant %+v", err, again, d.Events)
	}
}

// The bad events: one replacement in the sample, and the exact place of the only fault.
func TestBadEvents(t *testing.T) {
	for _, c := range []struct{ name, old, new, where, says string }{
		{"no id", `"id":"v1",`, "", "events[0].id", ""},
		{"an id twice", `"v2"`, `"v1"`, "events[1].id", "events[0]"},
		{"no athlete", `"athlete":"a1","on":"2026-02-12"`, `"on":"2026-02-12"`, "events[0].athlete", "no athlete"},
		{"another athlete", `"athlete":"a1","on":"2026-02-12"`, `"athlete":"a2","on":"2026-02-12"`, "events[0].athlete", `did you mean "a1"?`},
		{"no day", `"on":"2026-02-12",`, "", "events[0].on", "day"},
		{"a day to come", "2026-02-12", "2026-03-02", "events[0].on", "future"},
		{"unknown kind", `"injury"`, `"illness"`, "events[0].kind", "unknown kind"},
		{"unknown link", `"shoulder"`, `"shoulders"`, "events[0].link", "unknown link"},
		{"unknown side", `"left","note"`, `"none","note"`, "events[0].side", "left, right"},
		{"nobody gave the clearance", `,"note":"Clinician"`, "", "events[1].note", "clinician"},
		{"limits without a clearance", `"note":"a note"`, `"limits":"no pitching"`, "events[0].limits", "clearance"},
		{"unknown field", `"link"`, `"lnk"`, "events[0].lnk", `did you mean "link"?`},
		{"number for a note", `"a note"`, "5", "events[0].note", "text in quotes"},
		{"an object for the list", `"events":[`, `"events":{},"x":[`, "events", "a list"},
		{"null in the list", `"events":[`, `"events":[null,`, "events[0]", "null"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(eventJSON, c.old) {
				t.Fatalf("the sample does not contain %q", c.old)
			}
			d, err := readJSON(t, strings.Replace(eventJSON, c.old, c.new, 1), Options{})
			if d != nil {
				t.Error("a faulty document was handed out")
			}
			if f := wantFault(t, err, c.where, c.says); f.Problem == "" || f.Want == "" {
				t.Errorf("a fault says what is wrong and what would be right: %+v", f)
			}
			if n := len(faultsOf(t, err)); n != 1 && c.name != "an object for the list" {
				t.Errorf("want one fault, got %d:\n%v", n, err)
			}
		})
	}
}

// Events alone are a document if their athletes are on record.
func TestEventsOfKnownAthletes(t *testing.T) {
	known := func(ref string) *screen.Athlete {
		if ref == "Kim" {
			return &screen.Athlete{ID: "on-record"}
		}
		return nil
	}
	in := `{"events":[{"id":"v1","athlete":"Kim","on":"2026-02-12","kind":"training"}]}`
	d, err := readJSON(t, in, Options{Known: known})
	if err != nil || len(d.Events) != 1 || d.Events[0].Athlete != "on-record" {
		t.Fatalf("%+v %v", d, err)
	}
	_, err = readJSON(t, strings.Replace(in, "Kim", "Mo", 1), Options{Known: known})
	onlyFault(t, err, "events[0].athlete", `no athlete has the id "Mo"`)
}

// A document without events that hold is one that earlier versions read.
func TestNoEventsAreNotWritten(t *testing.T) {
	for name, events := range map[string][]screen.Event{
		"none": nil, "withdrawn": {{ID: "v1", Athlete: "a1", On: "2026-02-12", Kind: screen.EventInjury, Withdrawn: "typo"}},
	} {
		var out bytes.Buffer
		if err := WriteJSON(&out, protocol(t), &Document{Events: events}); err != nil || out.String() != "{\"athletes\":[],\"screens\":[]}\n" {
			t.Errorf("%s: %s (%v)", name, out.String(), err)
		}
	}
}
