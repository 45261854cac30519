// Package demo makes an invented squad to try the program with. Nobody and nothing in it is real: the
// names are put together from lists, the values are drawn from the protocol's own figures, and every
// record says that it is invented. The same protocol, seed and day give the same bytes; there is no
// clock and no other source of chance.
package demo

import (
	"cmp"
	"encoding/binary"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"

	"evenhand/internal/screen"
)

// Label is what every screen of the demo carries as its note.
const Label = "Demo: invented data, no real person was measured."

// Device is the device that all demo readings name.
const Device = "demo"

// Athletes is how many athletes the squad has.
const Athletes = 48

// Scenario is all that the demo consists of, ready to be stored. Revisions are 0: nothing is stored yet.
type Scenario struct {
	Teams       []screen.Team
	Seasons     []screen.Season // two a team, last year's first
	Athletes    []screen.Athlete
	Memberships []screen.Membership
	Consents    []screen.Consent
	Records     []screen.Record // by day
	Events      []screen.Event  // injuries, clearances, and when exercises began
	Examiners   []string        // the initials that readings are signed with

	made *maker // what is true of the squad, for Day
}

// The days of the demo, counted back from the day that it is made for.
const (
	lastSeasonFrom, lastSeasonTo = 460, 190
	thisSeasonFrom, thisSeasonTo = 95, -170
	lastPreseason                = 430 // the second team two days later
	lastInSeason                 = 320
	thisPreseason                = 62
	thisInSeason                 = 12
	handChanged                  = 200
)

// Squad makes the scenario for a day: two teams, two seasons, 48 athletes of 9 to 19 years, a preseason
// screen of everybody in each season, some in-season screens, two courses of rehabilitation and two of
// deficits that are trained, one of them to its end. Among
// them are an athlete whose sides were exchanged, a value with swapped digits, cells that are missing
// with and without a reason, referral signs in three athletes and real deficits in eight. One athlete's
// consent was withdrawn lately. today must be
// a day of the calendar; all records lie before it.
func Squad(p *screen.Protocol, seed uint64, today screen.Date) Scenario {
	m := newMaker(p, seed, today)
	m.teams()
	m.people()
	m.visits()
	m.swapDigits()
	m.followUps()
	m.events()
	slices.SortStableFunc(m.out.Records, func(a, b screen.Record) int { return cmp.Compare(a.Screen.On, b.Screen.On) })
	m.consents()
	m.out.made = m
	return m.out
}

func newMaker(p *screen.Protocol, seed uint64, today screen.Date) *maker {
	m := &maker{p: p, seed: seed, rng: rand.New(rand.NewPCG(seed, 0x64656d6f)), today: today}
	m.out.Examiners = []string{"KD", "MO", "TS"}
	m.drawBias(m.out.Examiners)
	return m
}

// maker makes one scenario. All chance comes from rng, in a fixed order.
type maker struct {
	p     *screen.Protocol
	seed  uint64
	rng   *rand.Rand
	today screen.Date
	out   Scenario
	squad []*person
	roles roles
	bias  [][]float64 // by examiner and measure: what an examiner reads too high, on both sides
}

// id is a UUID of version 7 (RFC 9562) made at the time given.
func (m *maker) id(at time.Time) string {
	var u uuid.UUID
	binary.BigEndian.PutUint64(u[:8], uint64(at.UnixMilli())<<16|m.rng.Uint64()&0x0fff|0x7000)
	binary.BigEndian.PutUint64(u[8:], m.rng.Uint64()&0x3fffffffffffffff|0x8000000000000000)
	return u.String()
}

// normal is a draw from the normal distribution.
func (m *maker) normal(mean, sd float64) float64 { return mean + float64(sd*m.rng.NormFloat64()) }

// chance is true with probability p.
func (m *maker) chance(p float64) bool { return m.rng.Float64() < p }

// ago is the day n days before today.
func (m *maker) ago(n int) screen.Date { return m.today.AddDays(-n) }

// drawBias gives each of some examiners a steady error for each measure.
func (m *maker) drawBias(of []string) {
	for range of {
		row := make([]float64, len(m.p.Measures))
		for i := range row {
			row[i] = m.normal(0, m.p.Measures[i].Resolved.Examiner)
		}
		m.bias = append(m.bias, row)
	}
}

// teams makes the two teams and their seasons.
func (m *maker) teams() {
	for i, name := range []string{"Demo Harbour Juniors", "Demo Lantern Hill"} {
		at := m.ago(lastSeasonFrom + 5).Time()
		t := screen.Team{ID: m.id(at), Name: name, Sport: m.sport([]string{"baseball", "softball"}[i]), Changed: at}
		m.out.Teams = append(m.out.Teams, t)
		for _, s := range []screen.Season{
			{Name: "Demo season 1", From: m.ago(lastSeasonFrom), To: m.ago(lastSeasonTo)},
			{Name: "Demo season 2", From: m.ago(thisSeasonFrom), To: m.ago(thisSeasonTo)},
		} {
			s.ID, s.Team = m.id(s.From.Time()), t.ID
			m.out.Seasons = append(m.out.Seasons, s)
		}
	}
}

// sport is the sport wanted, or the first of a protocol that does not have it.
func (m *maker) sport(want string) string {
	if m.p.Sport(want) == nil && len(m.p.Sports) > 0 {
		return m.p.Sports[0].ID
	}
	return want
}
