package demo

import (
	"math"
	"time"

	"evenhand/internal/screen"
)

// followed are the athletes whose deficits are trained and measured again: the first with a loss of
// internal rotation until it is closed, the second with a hip that is on its way.
func (r *roles) followed() []int { return []int{r.deficit[0], r.deficit[5]} }

// followedFirst gives the deficits that are trained to athletes of the first team, which has no screening
// day in progress: a new preseason screen would start their course anew.
func (r *roles) followedFirst() {
	for _, at := range []int{0, 5} {
		for k, i := range r.deficit {
			if r.deficit[at] >= firstTeam && i < firstTeam && k != 0 && k != 5 {
				r.deficit[at], r.deficit[k] = i, r.deficit[at]
			}
		}
	}
}

// secondReading is how many days ago the deficits that are trained were read once more.
const secondReading = 55

// followUps are the visits of those whose deficits are trained: a second reading on another day, which is
// the baseline, then one every few weeks.
func (m *maker) followUps() {
	plans := []struct {
		links []string
		days  []int
		fades float64 // what is left of the deficit from one visit to the next
	}{
		{[]string{"shoulder"}, []int{secondReading, 44, 34, 23, 13, 5}, 0.42},
		{[]string{"hip"}, []int{secondReading, 40, 26, 12}, 0.8},
	}
	for k, i := range m.roles.followed() {
		q, plan := m.squad[i], plans[k]
		var now map[string]float64
		for n, ago := range plan.days {
			v := visit{q: q, on: m.ago(ago), kind: screen.InSeason, season: 1, links: plan.links, note: Label + " A deficit that is trained.", extra: map[string]float64{}}
			v.start = v.on.Time().Add(16 * time.Hour)
			left := math.Pow(plan.fades, float64(n))
			for measure, d := range q.deficit {
				if i := m.p.MeasureIndex(measure); i >= 0 {
					v.extra[measure] = float64(d*left) - float64(q.diff[i]*(1-left))
				}
			}
			m.screen(&v)
			now = v.extra
		}
		q.deficit = now // a screening day after this finds what is left
	}
}

// events are what stands beside the screens.
func (m *maker) events() {
	for _, i := range m.roles.followed() {
		m.event(i, secondReading-1, screen.EventTraining, "", "Demo: invented. Exercises began.")
	}
	first, second := m.roles.rehab[0], m.roles.rehab[1]
	m.event(first, 306, screen.EventInjury, "shoulder", "Demo: invented. Proximal humeral epiphysiolysis.")
	m.event(first, 224, screen.EventClearance, "shoulder", "Demo: invented. Cleared by a licensed clinician, no limits.")
	m.event(second, 51, screen.EventInjury, "elbow", "Demo: invented. Medial epicondyle apophysitis.")
}

func (m *maker) event(i, ago int, kind screen.EventKind, link, note string) {
	a := &m.squad[i].athlete
	e := screen.Event{Athlete: a.ID, On: m.ago(ago), Kind: kind, Note: note}
	e.ID, e.Entered = m.id(e.On.Time()), e.On.Time().Add(17*time.Hour)
	if m.p.LinkIndex(link) >= 0 {
		e.Link, e.Side = link, screen.Side(a.HandOn(e.On))
	}
	if e.Side != screen.Left && e.Side != screen.Right {
		e.Side = ""
	}
	m.out.Events = append(m.out.Events, e)
}

// NewestPreseason is the day of a team's newest preseason screens.
func (s *Scenario) NewestPreseason(team string) (on screen.Date, ok bool) {
	for i := range s.Records {
		if x := &s.Records[i].Screen; x.Team == team && x.Kind == screen.Preseason && x.On > on {
			on = x.On
		}
	}
	return on, on != ""
}
