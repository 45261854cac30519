package demo

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"evenhand/internal/screen"
)

// DayEntry is one thing that a station of the invented screening day sends; which fields it has depends
// on its kind.
type DayEntry struct {
	ID       string
	Station  int           // place among the stations of the day
	Ago      time.Duration // how long before now it was entered
	Examiner string
	Device   string
	Kind     screen.DayEntryKind
	Athlete  string
	About    string // measure, checklist item or symptom
	Side     screen.Side
	Trials   []float64
	Reason   screen.Reason
	Answer   screen.Answer
	Round    int
	Again    bool
	Threw    *bool
	Hand     screen.Hand
	Person   *screen.Athlete // of a walk-on
}

// DayLasts is how long ago the first entry of the invented screening day was made.
const DayLasts = 70 * time.Minute

// walkOnName is made up like the others.
const walkOnName = "Xenia Thornquill"

// DayTeam is the team that has a screening day today: the second one.
func (s *Scenario) DayTeam() screen.Team { return s.Teams[len(s.Teams)-1] }

// Day is a screening day in progress.
type Day struct {
	Entries []DayEntry // what its stations have sent so far, the oldest first

	maker *dayMaker
}

// Day lets the stations of a screening day work until now: about half of the list is through most
// stations, and the rest is on the way. On purpose there are in it a referral sign at check-in, a cell
// that two helpers measured, a value with its digits exchanged, trials that were apart with another one
// added, two things not done, a throwing hand that differs from the record, a late comer who is on no
// list and is not measured without a consent, and second measurements by the same and by another helper.
// Who withdrew the consent is not there. d is a day of DayTeam with its list.
func (s *Scenario) Day(d *screen.Day, list []screen.Participant) *Day {
	m := *s.made
	m.rng = rand.New(rand.NewPCG(s.made.seed, 0x646179))
	m.out.Examiners = append(slices.Clone(m.out.Examiners), "RN", "LW")
	m.bias = slices.Clip(m.bias)
	m.drawBias(m.out.Examiners[len(m.bias):])
	w := dayMaker{maker: &m, d: d, free: make([]time.Duration, len(m.out.Examiners))}
	w.arrive(list)
	w.visits()
	w.conflict()
	w.sent = slices.DeleteFunc(w.sent, func(e DayEntry) bool { return e.Ago < justNow || w.unmeasured(&e) })
	slices.SortStableFunc(w.sent, func(a, b DayEntry) int { return cmp.Compare(b.Ago, a.Ago) })
	for i := range w.sent {
		w.sent[i].ID = w.id(d.On.Time().Add(12*time.Hour - w.sent[i].Ago))
	}
	w.exchangeDigits()
	return &Day{Entries: w.sent, maker: &w}
}

// dayMaker makes the entries of one screening day.
type dayMaker struct {
	*maker
	d     *screen.Day
	who   []*guest
	roles dayRoles
	free  []time.Duration // by helper: when the last visit ended
	sent  []DayEntry

	parted bool // trials that were apart are there
}

// guest is an athlete on the day.
type guest struct {
	visit
	there  time.Duration // when she or he comes, from the start of the day
	free   time.Duration // when the last visit ended
	twice  bool
	early  bool // comes first to be measured twice
	walkOn bool
	seen   [3][]bool          // by round and station
	offset map[string]float64 // error of the day by measure
}

// dayRoles says to whom what happens.
type dayRoles struct{ hold, conflict, apart, pain, noTime, hand *guest }

// justNow is how long ago the last entry was made at the least.
const justNow = 20 * time.Second

// Assumed of the demo: an athlete comes every 100 seconds, two are not there yet, and the walk-on comes
// when half of the others are.
const (
	everySeconds = 100
	notYetThere  = 2
)

// arrive puts the list in the order in which the athletes come: the first two of those who are measured
// twice are among the first, so that their second measurements are seen.
func (w *dayMaker) arrive(list []screen.Participant) {
	var first, rest, last []*guest
	without := w.withdrew() // does not come
	for _, k := range w.rng.Perm(len(list)) {
		q := w.byID(list[k].Athlete)
		if q == nil {
			continue
		}
		g := w.guest(q, list[k].Twice)
		switch {
		case q == without:
			last = append(last, g)
		case g.twice && len(first) < 2:
			g.early = true
			first = append(first, g)
		default:
			rest = append(rest, g)
		}
	}
	w.who = slices.Concat(first, rest, last)
	w.deal()
	w.who = w.who[:max(0, len(w.who)-notYetThere)]
	if len(w.who) > 0 {
		w.who = slices.Insert(w.who, min(len(w.who)/2+2, len(w.who)), w.walkOn())
	}
	for i, g := range w.who {
		g.there = time.Duration(i*everySeconds+w.rng.IntN(30)) * time.Second
		g.free = g.there
	}
}

// unmeasured says of an entry that it is something measured of the late comer, of whom there is no consent.
func (w *dayMaker) unmeasured(e *DayEntry) bool {
	return e.Kind != screen.DayWalkOn && slices.ContainsFunc(w.who, func(g *guest) bool { return g.walkOn && g.q.athlete.ID == e.Athlete })
}

func (w *dayMaker) byID(athlete string) *person {
	i := slices.IndexFunc(w.squad, func(q *person) bool { return q.athlete.ID == athlete })
	if i < 0 {
		return nil
	}
	return w.squad[i]
}

func (w *dayMaker) guest(q *person, twice bool) *guest {
	g := &guest{visit: visit{q: q, on: w.d.On, kind: w.d.Kind, season: 1, extra: q.deficit}, twice: twice, offset: map[string]float64{}}
	for round := range g.seen {
		g.seen[round] = make([]bool, len(w.d.Stations))
	}
	return g
}

// deal gives each role to somebody who comes early and is measured once. Whose throwing hand is another
// one than on record is measured as who throws with it.
func (w *dayMaker) deal() {
	var free []*guest
	for _, g := range w.who {
		if !g.twice {
			free = append(free, g)
		}
	}
	for i, r := range []**guest{&w.roles.pain, &w.roles.conflict, &w.roles.apart, &w.roles.noTime, &w.roles.hold} {
		if i < len(free) {
			*r = free[i]
		}
	}
	for _, g := range free[min(5, len(free)):] {
		if g.q.athlete.HandOn(w.d.On) == screen.RightHand {
			q := *g.q
			q.athlete.Hands = []screen.HandSince{{Hand: screen.LeftHand}}
			g.q, w.roles.hand = &q, g
			return
		}
	}
}

// walkOn is somebody who is on no list.
func (w *dayMaker) walkOn() *guest {
	q := &person{index: -1, team: 1, tall: w.normal(0, 1)}
	age := 13 + 2*w.rng.Float64()
	q.athlete = screen.Athlete{ID: w.id(w.d.On.Time().Add(11 * time.Hour)), Name: walkOnName, Sex: screen.Female, Level: levelAt(age),
		Born: w.d.On.AddDays(-int(age * 365.25)), Sport: w.out.DayTeam().Sport, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
	w.drawTruth(q)
	g := w.guest(q, false)
	g.walkOn = true
	return g
}

// device is the tablet of a station.
func device(station int) string { return fmt.Sprintf("%s-%d", Device, station+1) }
