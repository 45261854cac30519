package exchange

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

const sampleJSON = `{"athletes":[
{"id":"a1","name":"Kim Tandrel","born":"2011-04-02","sex":"female","throws":"left","sport":"baseball","level":"youth","height_cm":151,"mass_kg":44.5}],
"screens":[{"id":"s1","athlete":"a1","on":"2026-02-10","kind":"preseason",
"readings":[
{"measure":"shoulder_internal_rotation","side":"left","trials":[41,43],"examiner":"k"},
{"measure":"shoulder_internal_rotation","side":"right","trials":[52,54],"examiner":"k"},
{"measure":"elbow_extension","side":"left","trials":[4,5],"sign":"loss"}],
"checklist":[{"item":"leads_with_hips","answer":"met"}],
"symptoms":["muscle_soreness"]}]}`

func readJSON(t *testing.T, in string, opt Options) (*Document, error) {
	t.Helper()
	opt.Today = today
	return ReadJSON(strings.NewReader(in), protocol(t), opt)
}

func TestReadJSON(t *testing.T) {
	d, err := readJSON(t, "\xef\xbb\xbf"+sampleJSON, Options{Team: "t1"})
	if err != nil {
		t.Fatal(err)
	}
	a, r := d.Athletes[0], d.Records[0]
	if a.HandOn(today) != screen.LeftHand || a.MassKG != 44.5 || r.Athlete.Name != a.Name {
		t.Errorf("athlete %+v", a)
	}
	if r.Screen.Team != "t1" || r.Screen.Athlete != "a1" || r.Screen.Kind != screen.Preseason {
		t.Errorf("screen %+v", r.Screen)
	}
	if got := r.Readings[2].Trials; !reflect.DeepEqual(got, []float64{-4, -5}) {
		t.Errorf("a loss is negative: %v", got)
	}
	if r.Readings[0].Screen != "s1" || r.Symptoms[0].Symptom != "muscle_soreness" || r.Checklist[0].Answer != screen.Met {
		t.Errorf("record %+v", r)
	}
	again, err := readJSON(t, sampleJSON, Options{Team: "t1"})
	if err != nil || !reflect.DeepEqual(d, again) {
		t.Errorf("the same document twice differs: %v", err)
	}
}

// The bad inputs: one replacement in the sample, and the exact place of the only fault.
var badJSON = []struct{ name, old, new, where, says string }{
	{"value out of range", "[41,43]", "[41,430]", "screens[0].readings[0].trials[1]", "plausible range"},
	{"paired without side", `"left","trials":[41`, `"none","trials":[41`, "screens[0].readings[0].side", "left or right"},
	{"side missing", `"side":"left","trials":[41`, `"trials":[41`, "screens[0].readings[0].side", "left or right"},
	{"unknown measure", "shoulder_internal_rotation\",\"side\":\"left", "shoulder_internal_rotatoin\",\"side\":\"left", "screens[0].readings[0].measure", `did you mean "shoulder_internal_rotation"?`},
	{"no trials", "[41,43]", "[]", "screens[0].readings[0].trials", "0 trials"},
	{"trials missing", `"trials":[41,43],`, ``, "screens[0].readings[0].trials", "0 trials"},
	{"200 trials", "[41,43]", "[41" + strings.Repeat(",41", 199) + "]", "screens[0].readings[0].trials", "200 trials"},
	{"NaN", "[41,43]", "[41,NaN]", "screens[0].readings[0].trials[1]", "line 5, column 68"},
	{"infinity", "[41,43]", "[-Infinity]", "screens[0].readings[0].trials[0]", "without NaN"},
	{"1e999", "[41,43]", "[41,1e999]", "screens[0].readings[0].trials[1]", "1e999 is not a finite number"},
	{"number as text", "[41,43]", `["41",43]`, "screens[0].readings[0].trials[0]", "without quotes"},
	{"null trial", "[41,43]", "[41,null]", "screens[0].readings[0].trials[1]", "null"},
	{"true trial", "[41,43]", "[true]", "screens[0].readings[0].trials[0]", "true stands where a number"},
	{"list for a trial", "[41,43]", "[[41,43]]", "screens[0].readings[0].trials[0]", "a list stands where a number"},
	{"number for trials", "[41,43]", "41", "screens[0].readings[0].trials", "41 stands where a list"},
	{"null born", `"2011-04-02"`, "null", "athletes[0].born", "null"},
	{"born in the future", "2011-04-02", "2026-03-02", "athletes[0].born", "in the future"},
	{"born 140 years ago", "2011-04-02", "1886-04-02", "athletes[0].born", ""},
	{"born 110 years ago", "2011-04-02", "1916-02-02", "athletes[0].born", "110 years"},
	{"no such day", "2011-04-02", "2011-02-30", "athletes[0].born", "not a day"},
	{"other form of day", "2026-02-10", "10.2.2026", "screens[0].on", "not a day"},
	{"screen before birth", "2026-02-10", "2010-02-10", "screens[0].on", "before the athlete's birth"},
	{"screen in the future", "2026-02-10", "2026-04-10", "screens[0].on", "future"},
	{"unknown kind", `"preseason"`, `"pre"`, "screens[0].kind", "unknown kind"},
	{"unknown sport", "baseball", "basebal", "athletes[0].sport", "unknown sport"},
	{"no throwing hand", `"throws":"left",`, "", "athletes[0].throws", "missing"},
	{"throws and hands", `"throws":"left"`, `"throws":"left","hands":[{"hand":"left"}]`, "athletes[0].throws", "both"},
	{"wrong hand in hands", `"throws":"left"`, `"hands":[{"hand":"lefty"}]`, "athletes[0].hands", "lefty"},
	{"height in metres", `"height_cm":151`, `"height_cm":1.51`, "athletes[0].height_cm", "out of range"},
	{"unknown field", `"examiner":"k"},`, `"examinor":"k"},`, "screens[0].readings[0].examinor", `did you mean "examiner"?`},
	{"unknown field, top", `{"athletes"`, `{"athlets":[{"x":[1]}],"athletes"`, "athlets", `did you mean "athletes"?`},
	{"field twice", `"sex":"female"`, `"sex":"female","sex":"male"`, "athletes[0].sex", "twice"},
	{"elbow extension without sign", `,"sign":"loss"`, "", "screens[0].readings[2].sign", "hyperextension"},
	{"unknown sign word", `"sign":"loss"`, `"sign":"minus"`, "screens[0].readings[2].sign", "minus"},
	{"sign for another measure", `"examiner":"k"},`, `"sign":"loss"},`, "screens[0].readings[0].sign", "no sign word"},
	{"unknown symptom", "muscle_soreness", "muscle_sorenes", "screens[0].symptoms[0]", `did you mean "muscle_soreness"?`},
	{"unknown item", "leads_with_hips", "leads_with_hip", "screens[0].checklist[0].item", "leads_with_hips"},
	{"item twice", `"answer":"met"}`, `"answer":"met"},{"item":"leads_with_hips","answer":"not_met"}`, "screens[0].checklist[1].item", "already"},
	{"another athlete", `"athlete":"a1"`, `"athlete":"a2"`, "screens[0].athlete", `did you mean "a1"?`},
	{"another team", `"kind"`, `"team":"t2","kind"`, "screens[0].team", `team "t1"`},
	{"trailing data", "]}]}", "]}]} {}", "", "follows the document"},
	{"cut off", "]}]}", "]}", "screens", "ends in the middle"},
	{"comma at the end", "[41,43]", "[41,43,]", "screens[0].readings[0].trials[2]", "not JSON"},
	{"not UTF-8", "Kim", "K\xefm", "", "not UTF-8"},
	{"list at the top", sampleJSON, "[]", "", "a list stands where an object"},
	{"nothing in it", sampleJSON, "{}", "", "neither athletes nor screens"},
	{"empty object", `{"measure":"elbow_extension","side":"left","trials":[4,5],"sign":"loss"}`, "{}", "screens[0].readings[2]", "empty"},
	{"21 hands", `"throws":"left"`, `"hands":[{"hand":"left"}` + strings.Repeat(`,{"hand":"left"}`, 20) + `]`, "athletes[0].hands", "at most 20"},
	{"empty", sampleJSON, "", "", "ends in the middle"},
	{"null for an athlete", `{"id":"a1","name":"Kim Tandrel"`, `null,{"id":"a1","name":"Kim Tandrel"`, "athletes[0]", "null"},
	{"too deep", `"sex"`, `"x":` + strings.Repeat("[", 40) + strings.Repeat("]", 40) + `,"sex"`, "athletes[0].x", ""},
	{"taken without zone", `"examiner":"k"},`, `"taken":"2026-02-10 16:20"},`, "screens[0].readings[0].taken", "not a time"},
	{"negative step", `"examiner":"k"},`, `"step":-1},`, "screens[0].readings[0].step", "step"},
	{"threw as text", `"kind"`, `"threw_in_48h":"no","kind"`, "screens[0].threw_in_48h", "true or false"},
	{"bad reason", `"checklist"`, `"not_done":[{"measure":"hip_internal_rotation","side":"left","reason":"lazy"}],"checklist"`, "screens[0].not_done[0].reason", "lazy"},
}

func TestBadJSON(t *testing.T) {
	for _, c := range badJSON {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(sampleJSON, c.old) {
				t.Fatalf("the sample does not contain %q", c.old)
			}
			d, err := readJSON(t, strings.Replace(sampleJSON, c.old, c.new, 1), Options{Team: "t1"})
			if d != nil {
				t.Error("a faulty document was handed out")
			}
			f := wantFault(t, err, c.where, c.says)
			if n := len(faultsOf(t, err)); n != 1 && c.name != "too deep" {
				t.Errorf("want one fault, got %d:\n%v", n, err)
			}
			if f.Problem == "" || f.Want == "" {
				t.Errorf("a fault says what is wrong and what would be right: %+v", f)
			}
		})
	}
}

func TestUnpairedMeasureTakesNoSide(t *testing.T) {
	p, err := screen.LoadProtocol("own.yaml", strings.NewReader(unpairedProtocol))
	if err != nil {
		t.Fatal(err)
	}
	in := strings.Replace(sampleJSON, `{"measure":"elbow_extension","side":"left","trials":[4,5],"sign":"loss"}`, `{"measure":"kyphosis","side":"left","trials":[40]}`, 1)
	_, err = ReadJSON(strings.NewReader(in), p, Options{Today: today})
	onlyFault(t, err, "screens[0].readings[2].side", `"none"`)
	_, err = ReadJSON(strings.NewReader(strings.Replace(in, `"kyphosis","side":"left"`, `"kyphosis","side":"none"`, 1)), p, Options{Today: today})
	if err != nil {
		t.Error(err)
	}
	_, err = ReadCSV(strings.NewReader("athlete,date,measure,side,trial1\na,2026-02-10,kyphosis,right,40\n"), p, Options{Today: today})
	onlyFault(t, err, "row 2, column side", `"none"`)
	for _, side := range []string{"none", ""} {
		d, err := ReadCSV(strings.NewReader("athlete,date,measure,side,trial1\na,2026-02-10,kyphosis,"+side+",40\n"), p, Options{Today: today})
		if err != nil || d.Records[0].Readings[0].Side != screen.NoSide {
			t.Errorf("side %q: %v", side, err)
		}
	}
}

const unpairedProtocol = `
extends: default
name: own
version: "1"
title: With a measure that has no side
measures:
  - id: kyphosis
    name: Thoracic kyphosis
    link: trunk
    unit: deg
    paired: false
    worse: higher
    scale: linear
    trials: {planned: 1, most: 5, combine: mean}
    step: 1
    plausible: [0, 90]
    range_status: common_practice
    error:
      trial: {value: 1, status: assumed}
      within: {sem: 3, trials: 1, same_session: true, status: assumed}
`

func TestDuplicateIDs(t *testing.T) {
	double := func(part string) string { return strings.Replace(sampleJSON, part, part+","+part, 1) }
	athlete := sampleJSON[strings.Index(sampleJSON, `{"id":"a1"`) : strings.Index(sampleJSON, "44.5}")+5]
	_, err := readJSON(t, double(athlete), Options{})
	onlyFault(t, err, "athletes[1].id", "athletes[0]")
	s := sampleJSON[strings.Index(sampleJSON, `{"id":"s1"`) : len(sampleJSON)-2]
	_, err = readJSON(t, double(s), Options{})
	onlyFault(t, err, "screens[1].id", "screens[0]")
	twice := strings.ReplaceAll(sampleJSON, `"examiner":"k"`, `"id":"r1"`)
	_, err = readJSON(t, twice, Options{})
	onlyFault(t, err, "screens[0].readings[1].id", "screens[0].readings[0]")
}

func TestAllFaultsUpToAHundred(t *testing.T) {
	bad := strings.Replace(sampleJSON, "[41,43]", `["41",null]`, 1)
	bad = strings.Replace(bad, `"youth"`, `"junior"`, 1)
	_, err := readJSON(t, bad, Options{})
	if f := faultsOf(t, err); len(f) != 3 {
		t.Errorf("want three faults, got\n%v", err)
	}
	many := strings.Replace(sampleJSON, "[41,43]", "["+strings.Repeat("null,", 249)+"null]", 1)
	_, err = readJSON(t, many, Options{})
	f := faultsOf(t, err)
	if len(f) != 101 || f[100].Problem != "and 150 more" {
		t.Errorf("%d faults, the last %v", len(f), f[len(f)-1])
	}
}

func TestKnownAthlete(t *testing.T) {
	a := screen.Athlete{ID: "on-record", Born: "2010-01-01", Hands: []screen.HandSince{{Hand: screen.RightHand}}}
	in := `{"screens":[{"id":"s1","athlete":"Kim","on":"2009-02-10","kind":"preseason","readings":[]}]}`
	known := func(ref string) *screen.Athlete {
		if ref == "Kim" {
			return &a
		}
		return nil
	}
	_, err := readJSON(t, in, Options{Known: known})
	onlyFault(t, err, "screens[0].on", "before the athlete's birth")
	d, err := readJSON(t, strings.Replace(in, "2009", "2026", 1), Options{Known: known})
	if err != nil || d.Records[0].Screen.Athlete != "on-record" || d.Records[0].Athlete.Born != a.Born {
		t.Fatalf("%+v %v", d, err)
	}
}

func TestSwappedDigitsAreAccepted(t *testing.T) {
	d, err := readJSON(t, strings.Replace(sampleJSON, "[52,54]", "[43,24]", 1), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range d.Questions {
		if q.Kind == "digits_swapped" && q.Screen == "s1" && q.Athlete == "a1" && q.Side == screen.Right {
			return
		}
	}
	t.Errorf("nobody asks about the digits: %+v", d.Questions)
}

const fullJSON = `{"athletes":[{"id":"a1","name":"=Kim","born":"2011-04-02","sex":"female","hands":[{"hand":"right"},{"hand":"left","from":"2025-03-01"}],
"sport":"softball","level":"youth","positions":["pitcher","infielder"],"external_id":"-7"}],
"screens":[{"id":"s1","athlete":"a1","team":"t1","on":"2026-02-10","kind":"rehab","examiner":"kd","threw_in_48h":false,"note":"a note",
"not_done":[{"measure":"grip_strength","side":"left","reason":"pain"},{"id":"n2","measure":"grip_strength","side":"right","reason":"no_time"}],
"readings":[{"id":"r1","measure":"elbow_extension","side":"left","trials":[-4.5,2],"sign":"as_written","instrument":"goniometer","position":"supine","device":"d1","taken":"2026-02-10T16:20:00.5+02:00","step":0.5},
{"measure":"hip_internal_rotation","side":"right","trials":[33]}],
"checklist":[{"item":"leads_with_hips","answer":"not_seen","examiner":"mo"},{"id":"c2","item":"long_deceleration","answer":"not_met"}],
"symptoms":["arm_tired",{"symptom":"inner_elbow_tender","side":"left","note":"since Monday"},{"id":"y3","symptom":"tiredness"}]}],
"events":[{"id":"v1","athlete":"a1","on":"2026-02-12","kind":"injury","link":"shoulder","side":"left","note":"a note"},
{"id":"v2","athlete":"a1","on":"2026-02-28","kind":"clearance","note":"Clinician; up to 20 m"}]}`

func TestJSONRoundTrip(t *testing.T) {
	d, err := readJSON(t, fullJSON, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := d.Records[0].Readings[0].Taken.Format("15:04:05.0 MST"); got != "14:20:00.5 UTC" {
		t.Errorf("taken %s", got)
	}
	var out bytes.Buffer
	if err := WriteJSON(&out, protocol(t), d); err != nil {
		t.Fatal(err)
	}
	again, err := readJSON(t, out.String(), Options{})
	if err != nil || !reflect.DeepEqual(d, again) {
		t.Fatalf("%v\n%+v\n%+v\n%s", err, d, again, out.String())
	}
	if strings.Contains(out.String(), partID("s1", kindSymptom, 0)) {
		t.Error("derived ids need not be written")
	}
}

// What does not hold any more is not exported.
func TestJSONLeavesOutWhatWasCorrected(t *testing.T) {
	d, err := readJSON(t, fullJSON, Options{})
	if err != nil {
		t.Fatal(err)
	}
	r := &d.Records[0]
	r.Readings[0].Superseded = "r9"
	r.Symptoms[0].Withdrawn = "a mistake"
	d.Events[0].Withdrawn = "a mistake"
	r.Checklist = append(r.Checklist, screen.ChecklistAnswer{ID: "c9", Item: "leads_with_hips", Answer: screen.Met})
	var out bytes.Buffer
	if err := WriteJSON(&out, protocol(t), d); err != nil {
		t.Fatal(err)
	}
	again, err := readJSON(t, out.String(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	got := again.Records[0]
	what := fmt.Sprintln(len(got.Readings), got.Readings[0].Measure, len(got.Symptoms), len(got.Checklist), got.Checklist[0].Answer, again.Events)
	if what != fmt.Sprintln("1 hip_internal_rotation 2 2 met", d.Events[1:]) {
		t.Error(what)
	}
}

// A file of nothing but faults is refused about as fast as a good one is read.
func TestManyFaultsAreCountedNotSearched(t *testing.T) {
	n := 50_000
	in := strings.Replace(sampleJSON, `"symptoms":["muscle_soreness"]`, `"symptoms":["sore"`+strings.Repeat(`,"sore"`, n)+`]`, 1)
	_, err := readJSON(t, in, Options{})
	if f := faultsOf(t, err); len(f) != 101 || f[100].Problem != fmt.Sprintf("and %d more", n-99) {
		t.Errorf("the last of %d: %v", len(f), f[len(f)-1])
	}
	rows := strings.ReplaceAll(string(manyRows(n)), "rotation", "rotatoin")
	_, err = readCSV(t, rows, Options{})
	if f := faultsOf(t, err); len(f) != 101 || f[100].Problem != fmt.Sprintf("and %d more", n*3/5-100) {
		t.Errorf("the last of %d: %v", len(f), f[len(f)-1])
	}
}
