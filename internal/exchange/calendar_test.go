package exchange

import (
	"bytes"
	"strings"
	"testing"
	"time"

	parser "github.com/emersion/go-ical"

	"evenhand/internal/screen"
)

// feed is read back with another library than the one that wrote it.
func feed(t *testing.T, days []CalendarDay) (string, *parser.Calendar) {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCalendar(&b, "Re-screens, Example Team", days, time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	cal, err := parser.NewDecoder(strings.NewReader(text)).Decode()
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return text, cal
}

func TestCalendarIsReadByAnotherLibrary(t *testing.T) {
	hard := "Comma, semicolon; backslash \\ quote \" and a line\nbreak; ümlaut 漢字 " + strings.Repeat("long ", 40) + "BEGIN:VEVENT"
	days := []CalendarDay{
		{Key: "a", On: "2026-02-28", Summary: hard, Text: hard, URL: "http://127.0.0.1:8484/teams/x/follow-up", Private: true},
		{Key: "b", On: "2026-12-31", Summary: "2 athletes due", Text: ""},
	}
	_, cal := feed(t, days)
	events := cal.Events()
	if len(events) != len(days) {
		t.Fatalf("%d events", len(events))
	}
	for i, e := range events {
		start, err := e.DateTimeStart(time.UTC)
		if err != nil || screen.DateOf(start) != days[i].On {
			t.Errorf("starts %v, %v", start, err)
		}
		end, err := e.DateTimeEnd(time.UTC)
		if err != nil || screen.DateOf(end) != days[i].On.AddDays(1) {
			t.Errorf("ends %v, %v", end, err)
		}
		if v := e.Props.Get("DTSTART").Params.Get("VALUE"); v != "DATE" {
			t.Errorf("DTSTART is a %q, not a DATE", v)
		}
		if got, err := e.Props.Text("SUMMARY"); err != nil || got != days[i].Summary {
			t.Errorf("summary %q, %v", got, err)
		}
		if got, err := e.Props.Text("DESCRIPTION"); err != nil || got != days[i].Text {
			t.Errorf("text %q, %v", got, err)
		}
		for _, must := range []string{"UID", "DTSTAMP"} { // RFC 5545, 3.6.1: both are required
			if e.Props.Get(must) == nil {
				t.Errorf("no %s", must)
			}
		}
	}
	for _, must := range []string{"VERSION", "PRODID"} { // RFC 5545, 3.6
		if cal.Props.Get(must) == nil {
			t.Errorf("no %s", must)
		}
	}
	// The parser's own encoder refuses what the standard does.
	if err := parser.NewEncoder(&bytes.Buffer{}).Encode(cal); err != nil {
		t.Error(err)
	}
}

// RFC 5545, 3.1: lines end in CRLF and should have at most 75 octets; a fold splits no character.
func TestCalendarLines(t *testing.T) {
	text, _ := feed(t, []CalendarDay{{Key: "a", On: "2026-02-28", Summary: strings.Repeat("ü漢", 80), Text: strings.Repeat("word ", 60)}})
	if strings.Count(text, "\n") != strings.Count(text, "\r\n") || !strings.HasSuffix(text, "END:VCALENDAR\r\n") {
		t.Error("a line does not end in CRLF")
	}
	for _, line := range strings.Split(text, "\r\n") {
		if len(line) > 75 || !isText(line) {
			t.Errorf("%d octets: %q", len(line), line)
		}
	}
}

func isText(s string) bool { return strings.ToValidUTF8(s, "") == s }

func TestCalendarEntriesKeepTheirIDs(t *testing.T) {
	one, _ := feed(t, []CalendarDay{{Key: "a", On: "2026-02-28", Summary: "x"}})
	two, _ := feed(t, []CalendarDay{{Key: "b", On: "2026-02-28", Summary: "y"}, {Key: "a", On: "2026-03-10", Summary: "x"}})
	id := func(text, key string) string {
		for _, block := range strings.Split(text, "BEGIN:VEVENT") {
			if strings.Contains(block, "SUMMARY:"+key+"\r") {
				_, rest, _ := strings.Cut(block, "UID:")
				return rest[:36]
			}
		}
		return "none"
	}
	if id(one, "x") != id(two, "x") || id(one, "x") == id(two, "y") || strings.Contains(one, "UID:a\r") {
		t.Errorf("ids: %s, %s, %s", id(one, "x"), id(two, "x"), id(two, "y"))
	}
}

func TestEmptyCalendar(t *testing.T) {
	text, cal := feed(t, nil)
	if len(cal.Events()) != 0 || !strings.HasPrefix(text, "BEGIN:VCALENDAR\r\n") {
		t.Error(text)
	}
}
