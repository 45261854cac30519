package api

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestLocateJSON(t *testing.T) {
	for _, c := range []struct{ text, location, says string }{
		{`{"a":[1,2,{"b":NaN}]}`, "body.a[2].b", "line 1, column 16"},
		{"{\n \"a\": Infinity}", "body.a", "line 2, column 7"},
		{`{"a":[1,2e999]}`, "body.a[1]", "2e999"},
		{`{"a":{"b":1,"b":2}}`, "body.a.b", "twice"},
		{`{"a":1,"\u0061":2}`, "body.a", "twice"},
		{`{"":1,"":2}`, "body.", "twice"},
		{`{"a":[{"x":1},{"x":1}],"b":"{\"b\":1}","c":tru}`, "body.c", "not JSON"},
		{`{"a":`, "body.a", "ends in the middle"},
		{`{"a"`, "body.a", "ends in the middle"},
		{`{"a":"x`, "body.a", "ends in the middle"},
		{`[1,]`, "body[1]", "not JSON"},
		{`{} {}`, "body", "follows"},
		{`{}x`, "body", "not JSON"},
		{``, "body", "does not fit"},
		{`{"a":1}`, "body", "does not fit"},
		{"{\"a\":\"\xff", "body.a", "ends in the middle"},
	} {
		f := locateJSON(c.text)
		if f.Location != c.location || !strings.Contains(f.Message, c.says) {
			t.Errorf("%s: %+v, want %s at %s", c.text, f, c.says, c.location)
		}
	}
}

func TestTidy(t *testing.T) {
	for text, want := range map[string]bool{
		`{"a":1,"b":{"a":1},"c":[{"a":1},{"a":2}]}`: true,
		`{"a":1,"b":{"a":1,"c":2,"a":3}}`:           false,
		`{"a":"\"a\":1","b":"a"}`:                   true,
		`{"a" : 1, "\u0061" : 2}`:                   false,
		`["a","a"]`:                                 true,
		`"a"`:                                       true,
		`{"a\\":1,"a\\\\":2}`:                       true,
	} {
		if got := tidy([]byte(text), nil); got != want {
			t.Errorf("%s: %t", text, got)
		}
	}
}

// The quick way to read readings must accept what the schema accepts, refuse what it refuses, and
// read the same.
func FuzzQuickReadings(f *testing.F) {
	f.Add(shoulder)
	for _, c := range badReadings {
		f.Add(c.body)
	}
	f.Add(`{"readings":[{"id":"x","measure":"m","side":"left","trials":[1],"examiner":null}]}`)
	f.Add(`{"readings":[{"readings":[],"id":"x","measure":"m","side":"left","trials":[1]}]}`)
	f.Add(`{"readings":[{"id":"x","measure":"m","side":"left","trials":[1],"Step":2}]}`)
	f.Add(`{"readings":[{"id":"","measure":"","side":"left","trials":[]}]}`)
	f.Fuzz(func(t *testing.T, body string) {
		var quick, thorough readingsForm
		err := quick.read([]byte(body))
		_, errs := checkReadings(body)
		if len(errs) == 0 {
			if json.Unmarshal([]byte(body), &thorough) != nil {
				return // fits the schema, but not the form: a time that is none, say
			}
			a, errA := json.Marshal(quick)
			b, errB := json.Marshal(thorough)
			if err != nil || errA != nil || errB != nil && errA == nil || string(a) != string(b) {
				t.Errorf("%v: quick %s, thorough %s", err, a, b)
			}
			return
		}
		if err == nil {
			t.Errorf("accepted, though %v", errs)
		}
		for _, e := range errs {
			if e.Error() == "" {
				t.Error("an empty fault")
			}
		}
		if len(body) > 0 {
			locateJSON(body)
		}
	})
}
