package clinic

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// dueSoon is for how many days ahead a re-screen counts as due.
const dueSoon = 7

// FollowGroup says what an athlete on the follow-up list waits for.
type FollowGroup string

// The groups, in the order in which they stand.
const (
	FollowHold    FollowGroup = "hold"    // a referral sign, and no clearance since
	FollowOverdue FollowGroup = "overdue" // the day of the re-screen has gone by
	FollowDue     FollowGroup = "due"     // it is within a week
	FollowConfirm FollowGroup = "confirm" // a target was met once: a second look decides
	FollowFlat    FollowGroup = "flat"    // no improvement that can be told from error, or worse
	FollowWaiting FollowGroup = "waiting" // followed, due later
	FollowFirst   FollowGroup = "first"   // never screened
	FollowNone    FollowGroup = "none"    // nothing to follow
)

var followOrder = []FollowGroup{FollowHold, FollowOverdue, FollowDue, FollowConfirm, FollowFlat, FollowWaiting, FollowFirst, FollowNone}

// FollowRow is an athlete on the follow-up list.
type FollowRow struct {
	Athlete string       `json:"athlete"`
	Name    string       `json:"name"`
	On      screen.Date  `json:"screened,omitempty" doc:"day of the newest screen; absent: never screened"`
	Group   FollowGroup  `json:"group" enum:"hold,overdue,due,confirm,flat,waiting,first,none"`
	Due     *score.Due   `json:"due" doc:"null if nothing is followed, or while on hold"`
	Lines   []FollowLine `json:"lines" nullable:"false" doc:"the measures that are followed"`
}

// FollowLine is one measure that is followed, or whose target was met.
type FollowLine struct {
	Rule  string      `json:"rule"`
	Side  screen.Side `json:"side,omitempty"`
	Name  string      `json:"name"`
	State string      `json:"state" enum:"open,confirm,met"`
	Flat  bool        `json:"flat_or_worse"`
	Text  string      `json:"text"`
}

// FollowList is a team's follow-up list.
type FollowList struct {
	Team  screen.Team `json:"team"`
	Today screen.Date `json:"today"`
	Rows  []FollowRow `json:"items" nullable:"false"`
}

// FollowUp lists the members that a team has today by what they wait for: on hold, overdue, due, a
// target to be confirmed, no improvement, due later. Returns NotFound.
func (c *Clinic) FollowUp(ctx context.Context, who Person, team string) (out FollowList, err error) {
	out.Today = c.Today()
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if out.Team, err = tx.Team(team); err != nil {
			return err
		}
		out.Rows, err = c.followRows(tx, team)
		return err
	})
	return out, err
}

// membersToday are the members that a team has today, each with the newest screen, and their ids.
func (c *Clinic) membersToday(tx *store.Tx, team string) (members []store.Latest, ids []string, err error) {
	members, err = tx.LatestScreens(team, c.Today())
	ids = make([]string, len(members))
	for i := range members {
		ids[i] = members[i].Athlete
	}
	return members, ids, err
}

func (c *Clinic) followRows(tx *store.Tx, team string) ([]FollowRow, error) {
	members, ids, err := c.membersToday(tx, team)
	if err != nil {
		return nil, err
	}
	courses, err := c.courses(tx, ids)
	if err != nil {
		return nil, err
	}
	rows := make([]FollowRow, 0, len(members))
	for i := range members {
		rows = append(rows, followRow(&members[i], courses[members[i].Athlete], c.Today()))
	}
	slices.SortStableFunc(rows, func(a, b FollowRow) int { return compareFollow(&a, &b) })
	return rows, nil
}

// compareFollow puts groups in their order, and in each the one that is due first in front.
func compareFollow(a, b *FollowRow) int {
	due := func(r *FollowRow) string {
		if r.Due == nil {
			return "9"
		}
		return string(r.Due.On)
	}
	return cmp.Or(cmp.Compare(slices.Index(followOrder, a.Group), slices.Index(followOrder, b.Group)),
		strings.Compare(due(a), due(b)), strings.Compare(a.Name, b.Name))
}

func followRow(m *store.Latest, course *score.Course, today screen.Date) FollowRow {
	row := FollowRow{Athlete: m.Athlete, Name: m.Name, Group: FollowFirst, Lines: []FollowLine{}}
	if course == nil || len(course.Visits) == 0 {
		return row
	}
	row.On, row.Due = course.Visits[len(course.Visits)-1].On, course.Due
	flat, confirm := false, false
	for i := range course.Measures {
		x := &course.Measures[i]
		line, ok := followLine(x)
		if !ok {
			continue
		}
		row.Lines = append(row.Lines, line)
		flat = flat || line.Flat
		confirm = confirm || x.State == score.StateConfirm
	}
	switch {
	case onHold(course):
		row.Group = FollowHold
		if course.Visits[len(course.Visits)-1].Kind != screen.Rehab {
			row.Due = nil // a licensed clinician sees the athlete first, and says when to go on
		}
	case row.Due != nil && row.Due.Overdue:
		row.Group = FollowOverdue
	case row.Due != nil && row.Due.On <= today.AddDays(dueSoon):
		row.Group = FollowDue
	case confirm:
		row.Group = FollowConfirm
	case flat:
		row.Group = FollowFlat
	case row.Due != nil:
		row.Group = FollowWaiting
	default:
		row.Group = FollowNone
	}
	return row
}

func onHold(course *score.Course) bool {
	last := &course.Visits[len(course.Visits)-1]
	return held(last.Pain, last.On, course.Events)
}

// held reports whether a referral sign was noted at the newest visit, which was on that day, or an injury
// entered, and no clearance on the day or since. events are those that hold.
func held(pain bool, on screen.Date, events []screen.Event) bool {
	since, cleared := lastOf(events)
	if pain {
		since = max(since, on)
	}
	return since != "" && cleared < since
}

// lastOf are the days of the newest injury and of the newest clearance, empty if there is none.
func lastOf(events []screen.Event) (injury, clearance screen.Date) {
	for i := range events {
		switch e := &events[i]; e.Kind {
		case screen.EventInjury:
			injury = max(injury, e.On)
		case screen.EventClearance:
			clearance = max(clearance, e.On)
		}
	}
	return injury, clearance
}

// followLine is a measure that is followed; ok is false for one that is not.
func followLine(x *score.MeasureCourse) (FollowLine, bool) {
	if x.State != score.StateOpen && x.State != score.StateConfirm && x.State != score.StateMet {
		return FollowLine{}, false
	}
	return FollowLine{Rule: x.Rule, Side: x.Side, Name: x.Name, State: x.State, Flat: flatOrWorse(x), Text: x.Statement}, true
}

// flatOrWorse reports whether a followed measure does not get better: its slope's interval lies above
// 0 or, from as many visits as give one, reaches it; with fewer visits, a change since the baseline that
// is a real one for the worse, or that after two more visits cannot be told from error.
func flatOrWorse(x *score.MeasureCourse) bool {
	if x.State != score.StateOpen {
		return false
	}
	if t := x.Trend; t != nil && t.Direction != "" {
		return t.Direction != "improving"
	}
	d := x.SinceBaseline
	if d == nil || x.Baseline == nil {
		return false
	}
	if d.Real {
		return d.Beyond > 0
	}
	return len(x.Points)-1-*x.Baseline >= 2
}
