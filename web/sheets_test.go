package web

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

func onList(n int, hand screen.Hand, throws bool) clinic.DayAthlete {
	return clinic.DayAthlete{Participant: screen.Participant{Number: n, Code: "7-KRT"}, Person: screen.Athlete{Name: "A", Born: "2011-04-02"}, Hand: hand, Throws: throws}
}

// Which leg leads: the one opposite the throwing hand. The side that the day begins with stands first,
// whichever it is to the athlete.
func TestSidesOnPaper(t *testing.T) {
	arm, leg := &screen.Measure{Limb: screen.Arm, Paired: true}, &screen.Measure{Limb: screen.Leg, Paired: true}
	for _, x := range []struct {
		order  screen.SideOrder
		hand   screen.Hand
		throws bool
		want   string
	}{
		{screen.ThrowingFirst, screen.RightHand, true, "R throwing, trail leg | L non-throwing, lead leg"},
		{screen.ThrowingFirst, screen.LeftHand, true, "L throwing, trail leg | R non-throwing, lead leg"},
		{screen.LeftFirst, screen.RightHand, true, "L non-throwing, lead leg | R throwing, trail leg"},
		{screen.RightFirst, screen.LeftHand, true, "R non-throwing, lead leg | L throwing, trail leg"},
		{screen.ThrowingFirst, screen.BothHands, true, "R | L"},
		{screen.ThrowingFirst, screen.LeftHand, false, "R | L"},
	} {
		a := onList(1, x.hand, x.throws)
		rows := sheetRows(&a, x.order, []*screen.Measure{arm, leg})
		if got := strings.Join(rows[0].Sides, " | "); got != x.want || len(rows) != 1 {
			t.Errorf("%s, %s: %q, want %q", x.order, x.hand, got, x.want)
		}
	}
	a := onList(5, screen.RightHand, true)
	a.Twice = true
	if rows := sheetRows(&a, screen.LeftFirst, nil); len(rows) != 2 || rows[0].Second || !rows[1].Second || len(rows[1].Sides) != 1 {
		t.Errorf("an athlete who is measured twice: %+v", rows)
	}
}

func TestStationSheets(t *testing.T) {
	p := newPlace(t, Options{Demo: true})
	id, _ := p.setUp()
	v, err := p.clinic.Day(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	body := p.get("/days/"+id+"/sheets/stations", http.StatusOK)
	wants(t, body, "/s/"+v.Day.Stations[1].Code, "second time", "L throwing<", "R throwing<", "met", "Threw in the last 48 hours", "numbness or tingling (referral)",
		"&lt;img src=x", "Demo: invented data")
	wantsNot(t, body, "<img", "ZgotmplZ")
	rows := len(v.Athletes)
	for i := range v.Athletes {
		if v.Athletes[i].Twice {
			rows++
		}
	}
	// Two sides of 3 trials as typed and of the 2 that the protocol plans.
	if n := strings.Count(body, `<td class="box"></td>`); n != rows*2*(3+2) {
		t.Errorf("%d boxes, want %d", n, rows*2*5)
	}
}

func TestAthleteSheets(t *testing.T) {
	p := newPlace(t, Options{})
	id, _ := p.setUp()
	v, err := p.clinic.Day(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	body := p.get("/days/"+id+"/sheets/athletes", http.StatusOK)
	wants(t, body, "second values on the back", "A screen is not a diagnosis", "Born 2", "no symptoms", "not seen", "<b>P</b> pain", "<b>T</b> no time")
	wantsNot(t, body, "<img", "ZgotmplZ")
	if n := strings.Count(body, `<article class="paper one">`); n != len(v.Athletes) {
		t.Errorf("%d sheets for %d athletes", n, len(v.Athletes))
	}
	for i := range v.Athletes {
		wants(t, body, `<p class="code">`+v.Athletes[i].Code+"</p>")
	}
	path := regexp.MustCompile(`aria-label="QR code ([^"]+)"[^>]*><rect width="(\d+)"[^>]*/><path d="([^"]+)"`).FindStringSubmatch(body)
	if path == nil {
		t.Fatal("no QR code")
	}
	code, err := qrOf(path[1], "")
	p.must(err)
	if code.Path != path[3] || decoded(t, code) != path[1] || path[1] != v.Athletes[0].Code {
		t.Errorf("the code of the first sheet says %q", path[1])
	}
	_, first, _ := strings.Cut(body, "<article")
	first, _, _ = strings.Cut(first, "</article>")
	if a, b := strings.Index(first, "no symptoms"), strings.Index(first, `class="measure"`); a < 0 || b < a {
		t.Error("the symptoms do not stand before what is measured")
	}
	if a, b := strings.Index(first, "Numbness or tingling"), strings.Index(first, "General tiredness"); a < 0 || b < a {
		t.Error("the referral signs do not stand first")
	}
	if n := strings.Count(first, "<i></i>"); n != 3+2+1+len(p.clinic.Protocol().Symptoms)+2*(3+2)+2*len(screen.Reasons())+3*len(p.clinic.Protocol().Checklist) {
		t.Errorf("%d boxes", n)
	}
}

func TestSheetsOfAnEmptyList(t *testing.T) {
	v := clinic.DayView{Day: screen.Day{ID: "d", On: "2026-03-10"}, Team: screen.Team{Name: "T"}}
	if h := sheetHead("Blank sheets", &v); !strings.Contains(h.Needs, "Nobody is on the list yet") {
		t.Errorf("%q", h.Needs)
	}
}

func TestLetters(t *testing.T) {
	for i, want := range map[int]string{0: "a", 25: "z", 26: "aa", 51: "zz"} {
		if got := letterOf(i); got != want {
			t.Errorf("%d: %q, want %q", i, got, want)
		}
	}
}
