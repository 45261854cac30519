package web

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// gymTime is a quarter to twelve in a zone five hours behind UTC.
var gymTime = time.Date(2026, 3, 10, 11, 45, 0, 0, time.FixedZone("gym", -5*3600))

// aBoard is a board with one of everything, typed in.
func aBoard() clinic.Board {
	utc := func(h, m int) time.Time { return time.Date(2026, 3, 10, h, m, 0, 0, time.UTC) }
	person := func(n int, id, name string, hand screen.Hand) clinic.DayAthlete {
		return clinic.DayAthlete{Participant: screen.Participant{Athlete: id, Number: n}, Person: screen.Athlete{ID: id, Name: name}, Hand: hand, Throws: true}
	}
	twice := person(3, "a3", "Third One", screen.BothHands)
	twice.Twice, twice.Added = true, utc(15, 0)
	return clinic.Board{
		Day:  screen.Day{ID: "d1", On: "2026-03-10", Kind: screen.Preseason, SideOrder: screen.ThrowingFirst, Revision: 4},
		Team: screen.Team{ID: "t1", Name: hostile}, Now: gymTime, Complete: 1,
		Stations: []clinic.BoardStation{
			{Station: screen.Station{Code: "AAAA", Name: "Check-in"}, Cells: 3, Filled: 3, Through: 3, Of: 3, PerHour: 40, Helpers: []string{"KD", hostile}, Last: utc(16, 40)},
			{Station: screen.Station{Code: "BBBB", Name: "Shoulder"}, Cells: 6480, Filled: 1200, Through: 1, Of: 3, PerHour: 11.6, End: utc(18, 5), Last: utc(16, 44)},
		},
		Rows: []clinic.BoardRow{
			{DayAthlete: person(1, "a1", hostile, screen.LeftHand), CheckIn: true, Complete: true, Cells: []clinic.BoardCell{{Taken: 1}, {Taken: 8, NotDone: 2, Others: "2 not done: pain"}}},
			{DayAthlete: person(2, "a2", "Second One", screen.RightHand), CheckIn: true, Hold: true, Cells: []clinic.BoardCell{{Taken: 1}, {Missing: 10, Names: []string{"Shoulder flexion, left"}}}},
			{DayAthlete: twice, Cells: []clinic.BoardCell{{Missing: 1, Names: []string{"Check-in"}}, {Taken: 6, Missing: 4, Second: 3, SecondMissing: 7, Names: []string{"Shoulder flexion, right"}}}},
		},
		Holds: []clinic.BoardHold{{Athlete: "a2", Name: "Second One", Number: 2, Signs: []string{"Numbness or tingling"}}},
		Conflicts: []clinic.BoardConflict{{Athlete: "a1", Name: hostile, Screen: "s1", Number: 1, Measure: "Shoulder internal rotation", Side: screen.Left,
			Readings: []clinic.BoardReading{{Examiner: "KD", Trials: "45°, 46°", At: utc(15, 2)}, {Examiner: "", Trials: "61°, 60°", At: utc(15, 4), Late: true}}}},
		Again:    []clinic.DayQuestion{{Athlete: "a3", Name: "Third One", Number: 3, Station: "BBBB", Text: "54° stands beside 45°: are the digits swapped?"}},
		Late:     []clinic.BoardLate{{Athlete: "a1", Name: "First One", Number: 1, N: 3, Examiners: []string{"KD"}, Last: utc(17, 0)}},
		Changes:  []string{"First One throws with the left hand, says KD."},
		Unlisted: []screen.Athlete{{ID: "a9", Name: hostile, Born: "2011-04-02"}},
	}
}

func boardHTML(t *testing.T, p *boardPage) string {
	t.Helper()
	l, err := loadLooks(func(name string) string { return "/assets/" + name })
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := l.write(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The words follow from the numbers of aBoard above; times are five hours earlier than UTC.
func TestBoardSaysAll(t *testing.T) {
	b := aBoard()
	text := boardHTML(t, boardOf(&b))
	wants(t, text,
		`<p class="needs urgent">1 on hold: referral signs. 1 measured by two helpers. 1 to measure again. Late entries for 1 athlete.</p>`,
		"1 of 3 athletes complete", "Throwing side first", "numbness or tingling",
		"3 of 3", "through", "40 an hour lately", "11:40",
		"1 of 3", "1,200 of 6,480", "12 an hour lately", "about 13:05", "nobody yet",
		`<b class="mark">on hold</b>`, "measured twice", "came late", "not checked in",
		`<span class="long">done</span>`, "2 not done: pain", `<span class="long">6 of 10</span><span class="short">6/10</span>`, "2nd: 3 of 10",
		`<span class="long">–</span>`, "shoulder flexion, right; 7 of the second measurement",
		"45°, 46° by KD at 10:02; 61°, 60° by somebody at 10:04, late", `href="/screens/s1"`, "shoulder internal rotation, left",
		"at Shoulder: 54° stands beside 45°", "3 entries by KD, the last at 12:00", "throws with the left hand, says KD",
		"A licensed clinician decides this", "Close the day", `name="revision" value="4"`)
	wantsNot(t, text, "<img", "ZgotmplZ", "Open the day again")
	if n := strings.Count(text, "12<span class=\"lab\"> missing"); n != 1 { // 1 + 4 and 7 of the second time
		t.Errorf("the missing of the third athlete stand there %d times", n)
	}
}

func TestAQuietBoard(t *testing.T) {
	b := aBoard()
	b.Holds, b.Conflicts, b.Again, b.Late, b.Changes, b.Unlisted = nil, nil, nil, nil, nil, nil
	b.Day.Closed = gymTime.AddDate(0, 0, -1)
	text := boardHTML(t, boardOf(&b))
	wants(t, text, `<p class="needs">Nothing needs you now.</p>`, "All members of the team are on the list", "Closed at 11:45 on 9 Mar 2026", "Open the day again")
	wantsNot(t, text, "On hold", "Measure again", "Measured by two helpers", "Came in after", "changed at check-in", "Close the day<")
	b.Rows = nil
	wants(t, boardHTML(t, boardOf(&b)), "Nobody is on the list yet")
}

func TestPace(t *testing.T) {
	for x, want := range map[float64]string{12.4: "12 an hour lately", 1: "1 an hour lately", 0.4: "fewer than 1 an hour lately"} {
		if got := paceWords(x); got != want {
			t.Errorf("%v: %q, want %q", x, got, want)
		}
	}
}

// setUp puts a day of the demo's first team on record as the form does.
func (p *place) setUp() (day string, form url.Values) {
	p.t.Helper()
	form = url.Values{"id": {"day-1"}, "revision": {"0"}, "on": {"2026-03-10"}, "kind": {"preseason"}, "side_order": {"throwing_first"}, "every": {"5"}, "stations": {"8"},
		"code-1": {"CODEONE1"}, "code-2": {"CODETWO2"}, "code-4": {"CODEFOUR"},
		"name-1": {"Check-in"}, "at-check_in": {"1"}, "name-2": {"Shoulder"}, "at-shoulder_internal_rotation": {"2"}, "place-shoulder_internal_rotation": {"2"},
		"at-shoulder_external_rotation": {"2"}, "place-shoulder_external_rotation": {"1"}, "trials-shoulder_external_rotation": {"3"},
		"name-4": {"Throwing motion"}, "at-checklist": {"4"}}
	w := p.post("/teams/"+p.scenario.Teams[0].ID+"/days/new", form)
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/days/day-1" {
		p.t.Fatalf("%d %s %s", w.Code, w.Header().Get("Location"), clipped(w.Body.String()))
	}
	return "day-1", form
}

// The live part of the board is the part of the page that its script puts in place.
func TestTheLivePartIsPartOfThePage(t *testing.T) {
	p := newPlace(t, Options{})
	id, _ := p.setUp()
	whole, part := p.get("/days/"+id, http.StatusOK), p.get("/days/"+id+"?part=live", http.StatusOK)
	if !strings.HasPrefix(part, `<div id="live" data-day="day-1"`) || !strings.Contains(whole, part) {
		t.Errorf("the live part is not in the page:\n%s", clipped(part))
	}
	p.get("/days/none", http.StatusNotFound)
	p.get("/days/none?part=live", http.StatusNotFound)
	if w := p.do(http.MethodGet, "/days/"+id+"?part=live", nil); w.Header().Get("Cache-Control") != "no-store" {
		t.Error("the live part is kept")
	}
}

func TestActsOnTheBoard(t *testing.T) {
	p := newPlace(t, Options{})
	id, _ := p.setUp()
	who := clinic.LocalAdministrator
	a := p.scenario.Athletes[0]
	a.ID, a.Name, a.ExternalID, a.Revision = "late-one", "Late One", "", 0
	_, err := p.clinic.PutAthlete(t.Context(), who, a, p.scenario.Teams[0].ID, 0)
	p.must(err)
	wants(t, p.get("/days/"+id, http.StatusOK), "Members who are not on the list: 1", `value="late-one"`)
	p.seeOther(p.post("/days/"+id+"/add", url.Values{"athlete": {"late-one"}}))
	wants(t, p.get("/days/"+id, http.StatusOK), "came late", "All members of the team are on the list")
	p.seeOther(p.post("/days/"+id+"/add", url.Values{}))

	walk := url.Values{"id": {"walk-1"}, "name": {""}, "born": {"2011-04-02"}, "sex": {"female"}, "hand": {"left"}, "level": {"school"}}
	w := p.post("/days/"+id+"/walk-on", walk)
	if w.Code != http.StatusUnprocessableEntity {
		t.Errorf("a walk-on without a name: %d", w.Code)
	}
	wants(t, w.Body.String(), `<details id="walk-on" open>`, "Not saved", `name="id" value="walk-1"`, `value="2011-04-02"`)
	walk.Set("name", "Walk On")
	for range 2 { // sent twice it is one athlete
		p.seeOther(p.post("/days/"+id+"/walk-on", walk))
	}
	if n := strings.Count(p.get("/days/"+id, http.StatusOK), ">Walk On</a>"); n != 1 {
		t.Errorf("the walk-on is on the list %d times", n)
	}
	p.get("/days/"+id+"/walk-on", http.StatusSeeOther)
	p.closeAndOpen(id)
}

func (p *place) closeAndOpen(id string) {
	p.t.Helper()
	v, err := p.clinic.Day(p.t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	p.seeOther(p.post("/days/"+id+"/close", url.Values{"closed": {"yes"}, "revision": {fmt.Sprint(v.Day.Revision)}}))
	wants(p.t, p.get("/days/"+id, http.StatusOK), "what comes in now is taken and marked late", "Open the day again")
	if w := p.post("/days/"+id+"/close", url.Values{"closed": {"no"}, "revision": {fmt.Sprint(v.Day.Revision)}}); w.Code != http.StatusConflict {
		p.t.Errorf("a stale revision: %d", w.Code)
	}
	p.seeOther(p.post("/days/"+id+"/close", url.Values{"closed": {"no"}, "revision": {fmt.Sprint(v.Day.Revision + 1)}}))
	wants(p.t, p.get("/days/"+id, http.StatusOK), "Close the day")
}

// A hold is lifted with a reason, which stays in its field when it is at fault.
func TestLiftingAHold(t *testing.T) {
	p := newPlace(t, Options{})
	id, _ := p.setUp()
	v, err := p.clinic.Day(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	who := v.Athletes[0].Athlete
	_, err = p.clinic.SaveEntries(t.Context(), clinic.LocalAdministrator, v.Day.Stations[0].Code, clinic.Batch{Device: "tablet", Sent: noon, Entries: []clinic.StationEntry{
		{ID: "e1", Kind: screen.DaySymptom, Athlete: who, Examiner: "KD", Taken: noon, About: "numbness_or_tingling", Side: screen.NoSide}}})
	p.must(err)
	wants(t, p.get("/days/"+id, http.StatusOK), "1 on hold: referral signs", `id="hold-`+who+`"`)
	w := p.post("/days/"+id+"/release", url.Values{"athlete": {who}, "why": {" "}})
	if w.Code != http.StatusUnprocessableEntity {
		t.Errorf("no reason: %d", w.Code)
	}
	wants(t, w.Body.String(), `aria-describedby="fault-`+who)
	p.seeOther(p.post("/days/"+id+"/release", url.Values{"athlete": {who}, "why": {"seen by the team's physician"}}))
	wantsNot(t, p.get("/days/"+id, http.StatusOK), "on hold")
}

func (p *place) seeOther(w *httptest.ResponseRecorder) {
	p.t.Helper()
	if w.Code != http.StatusSeeOther {
		p.t.Fatalf("%d, want 303\n%s\n%s", w.Code, clipped(w.Body.String()), p.log)
	}
}
