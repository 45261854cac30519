package clinic

import (
	"slices"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

const followToday = screen.Date("2026-03-10")

// courseWith is a course of one visit ten days ago with one measure in a state, due on a day ("" none).
func courseWith(state string, due screen.Date, change func(*score.Course)) *score.Course {
	c := &score.Course{Visits: []score.CourseVisit{{Screen: "s", On: "2026-02-28"}},
		Measures: []score.MeasureCourse{{Rule: "r", Name: "Loss", State: state, Statement: "text"}}}
	if due != "" {
		c.Due = &score.Due{On: due, Overdue: due < followToday}
	}
	if change != nil {
		change(c)
	}
	return c
}

func TestFollowGroups(t *testing.T) {
	at := 0
	injured := screen.Event{Kind: screen.EventInjury, On: "2026-03-01"}
	cases := []struct {
		name string
		c    *score.Course
		want FollowGroup
		due  bool
	}{
		{"never screened", nil, FollowFirst, false},
		{"no visits", &score.Course{}, FollowFirst, false},
		{"clear", courseWith(score.StateClear, "", nil), FollowNone, false},
		{"met long ago", courseWith(score.StateMet, "", nil), FollowNone, false},
		{"due yesterday", courseWith(score.StateOpen, "2026-03-09", nil), FollowOverdue, true},
		{"due today", courseWith(score.StateOpen, "2026-03-10", nil), FollowDue, true},
		{"due in a week", courseWith(score.StateOpen, "2026-03-17", nil), FollowDue, true},
		{"due in eight days", courseWith(score.StateOpen, "2026-03-18", nil), FollowWaiting, true},
		{"met once", courseWith(score.StateConfirm, "2026-03-18", nil), FollowConfirm, true},
		{"met once and overdue", courseWith(score.StateConfirm, "2026-03-01", nil), FollowOverdue, true},
		{"referral sign", courseWith(score.StateOpen, "2026-03-09", func(c *score.Course) { c.Visits[0].Pain = true }), FollowHold, false},
		{"referral sign, cleared since", courseWith(score.StateOpen, "2026-03-09", func(c *score.Course) {
			c.Visits[0].Pain = true
			c.Events = []screen.Event{{Kind: screen.EventClearance, On: "2026-03-01"}}
		}), FollowOverdue, true},
		{"injured", courseWith(score.StateClear, "", func(c *score.Course) { c.Events = []screen.Event{injured} }), FollowHold, false},
		{"cleared before the injury", courseWith(score.StateOpen, "2026-03-09", func(c *score.Course) {
			c.Events = []screen.Event{{Kind: screen.EventClearance, On: "2026-02-01"}, injured}
		}), FollowHold, false},
		{"trend not improving", courseWith(score.StateOpen, "2026-04-18", func(c *score.Course) {
			c.Measures[0].Trend = &score.Trend{Direction: "unclear"}
		}), FollowFlat, true},
		{"trend improving", courseWith(score.StateOpen, "2026-04-18", func(c *score.Course) {
			c.Measures[0].Trend = &score.Trend{Direction: "improving"}
		}), FollowWaiting, true},
		{"really worse", courseWith(score.StateOpen, "2026-04-18", func(c *score.Course) {
			c.Measures[0].Baseline, c.Measures[0].SinceBaseline = &at, &score.Change{Real: true, Beyond: 8}
		}), FollowFlat, true},
		{"really better", courseWith(score.StateOpen, "2026-04-18", func(c *score.Course) {
			c.Measures[0].Baseline, c.Measures[0].SinceBaseline = &at, &score.Change{Real: true, Beyond: -8}
		}), FollowWaiting, true},
		{"one visit since, nothing to be told", courseWith(score.StateOpen, "2026-04-18", func(c *score.Course) {
			c.Measures[0].Baseline, c.Measures[0].SinceBaseline, c.Measures[0].Points = &at, &score.Change{Beyond: -1}, make([]score.CoursePoint, 2)
		}), FollowWaiting, true},
		{"two visits since, nothing to be told", courseWith(score.StateOpen, "2026-04-18", func(c *score.Course) {
			c.Measures[0].Baseline, c.Measures[0].SinceBaseline, c.Measures[0].Points = &at, &score.Change{Beyond: -1}, make([]score.CoursePoint, 3)
		}), FollowFlat, true},
	}
	for _, x := range cases {
		got := followRow(&store.Latest{Athlete: "a", Name: "A"}, x.c, followToday)
		if got.Group != x.want || (got.Due != nil) != x.due {
			t.Errorf("%s: %s, due %v; want %s, %v", x.name, got.Group, got.Due, x.want, x.due)
		}
	}
}

func TestFollowOrder(t *testing.T) {
	due := func(on screen.Date) *score.Due { return &score.Due{On: on} }
	rows := []FollowRow{{Name: "F", Group: FollowNone}, {Name: "E", Group: FollowDue, Due: due("2026-03-12")}, {Name: "D", Group: FollowDue, Due: due("2026-03-11")},
		{Name: "C", Group: FollowHold}, {Name: "B", Group: FollowDue, Due: due("2026-03-12")}, {Name: "A", Group: FollowOverdue, Due: due("2026-03-01")}}
	slices.SortStableFunc(rows, func(a, b FollowRow) int { return compareFollow(&a, &b) })
	got := ""
	for _, r := range rows {
		got += r.Name
	}
	if got != "CADBEF" {
		t.Errorf("order %s", got)
	}
}

// A calendar is shared and lies on phones: it says who and what to measure, and nothing of what was found.
func TestCalendarSaysNothingOfFindings(t *testing.T) {
	list := FollowList{Team: screen.Team{ID: "t", Name: "Team"}}
	due := &score.Due{On: "2026-03-12", Why: "secret", Measures: []score.DueMeasure{{Name: "Loss of total arc", Measure: "shoulder_total_arc", Trials: 3, Why: "secret"}}}
	list.Rows = []FollowRow{{Athlete: "a", Name: "Ann", Due: due, Lines: []FollowLine{{Text: "secret"}}}, {Athlete: "b", Name: "Ben", Due: due}, {Athlete: "c", Name: "Cid"}}
	counted := countedDays(&list)
	if len(counted) != 1 || counted[0].Summary != "Re-screens due, Team: 2" || counted[0].Private {
		t.Errorf("%+v", counted)
	}
	named := open(t).namedDays("t", list.Rows)
	if len(named) != 2 || named[0].Summary != "Re-screen: Ann" || named[0].Key == named[1].Key || !named[0].Private {
		t.Errorf("%+v", named)
	}
	if want := "To measure: Shoulder internal rotation, 3 on each side; Shoulder external rotation, 3 on each side."; named[0].Text != want {
		t.Errorf("%q, want %q", named[0].Text, want)
	}
	for _, d := range slices.Concat(counted, named) {
		if strings.Contains(d.Summary+d.Text, "secret") || strings.Contains(d.Summary+d.Text, "Loss") {
			t.Errorf("says what was found: %+v", d)
		}
	}
	if strings.Contains(counted[0].Text, "Ann") {
		t.Errorf("without names: %+v", counted[0])
	}
}
