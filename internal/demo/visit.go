package demo

import (
	"math"
	"slices"
	"strings"
	"time"

	"evenhand/internal/screen"
)

// visit is one occasion on which one athlete is screened.
type visit struct {
	q         *person
	on        screen.Date
	kind      screen.Kind
	season    int // 0 last year's, 1 this year's
	start     time.Time
	links     []string           // only these; all if empty
	extra     map[string]float64 // added to the true difference of sides
	missing   float64            // share of cells that nobody measured
	repeat    bool               // some measures are taken a second time
	note      string
	exchanged bool // the arms were written on the wrong side
}

// armLinks are what is looked at within the season and in rehabilitation.
var armLinks = []string{"hip", "trunk", "shoulder", "elbow", "wrist"}

// visits makes all screens of the scenario, season by season.
func (m *maker) visits() {
	m.preseason(0, lastPreseason)
	m.inSeason(0, lastInSeason, 8)
	m.rehab(m.squad[m.roles.rehab[0]], 0, []int{300, 286, 272, 258, 244, 230})
	m.preseason(1, thisPreseason)
	m.rehab(m.squad[m.roles.rehab[1]], 1, []int{46, 32, 18, 4})
	m.inSeason(1, thisInSeason, 10)
}

// preseason screens everybody; the second team two days after the first.
func (m *maker) preseason(season, ago int) {
	for i, q := range m.squad {
		v := visit{q: q, on: m.ago(ago - 2*q.team), kind: screen.Preseason, season: season, missing: 0.03, note: Label}
		v.start = v.on.Time().Add(15*time.Hour + time.Duration(i%firstTeam)*90*time.Second)
		if season == 1 {
			v.extra = q.deficit
			v.repeat = i%5 == 0
			v.exchanged = i == m.roles.exchanged
			if i == m.roles.late {
				v.missing = 0.7
			}
		}
		m.screen(&v)
	}
}

// inSeason screens some again, the arm and what is next to it: nobody who was referred, has visits of his
// or her own or is in rehabilitation, so that the newest screen of these stays the one that shows it.
func (m *maker) inSeason(season, ago, n int) {
	who := slices.DeleteFunc(m.rng.Perm(Athletes), func(k int) bool {
		return slices.Contains(m.roles.followed(), k) || slices.Contains(m.roles.referral[:], k) || slices.Contains(m.roles.rehab[:], k) || k == m.roles.late
	})
	for i, k := range who[:n] {
		q := m.squad[k]
		v := visit{q: q, on: m.ago(ago - i%3), kind: screen.InSeason, season: season, links: armLinks, missing: 0.05, note: Label}
		v.start = v.on.Time().Add(16*time.Hour + time.Duration(i)*4*time.Minute)
		if season == 1 {
			v.extra = q.deficit
		}
		m.screen(&v)
	}
}

// rehab is a course of visits in which what was lost comes back.
func (m *maker) rehab(q *person, season int, days []int) {
	for i, ago := range days {
		left := math.Pow(0.6, float64(i))
		v := visit{q: q, on: m.ago(ago), kind: screen.Rehab, season: season, links: armLinks, missing: 0.02, note: Label + " Course of rehabilitation.",
			extra: map[string]float64{
				"shoulder_internal_rotation": 14 * left, "shoulder_horizontal_adduction": 15 * left, "shoulder_flexion": 10 * left,
				"elbow_extension": 9 * left, "grip_strength": 0.25 * left, "shoulder_external_rotation_strength": 0.3 * left}}
		v.start = v.on.Time().Add(10 * time.Hour)
		m.screen(&v)
	}
}

// screen makes the record of a visit.
func (m *maker) screen(v *visit) {
	lead := m.out.Examiners[v.q.team]
	s := screen.Screen{ID: m.id(v.start), Athlete: v.q.athlete.ID, Team: m.out.Teams[v.q.team].ID, On: v.on, Kind: v.kind,
		Examiner: lead, Protocol: m.p.NameAndVersion(), Note: v.note, Changed: v.start}
	if m.chance(0.85) {
		threw := m.chance(0.4)
		s.ThrewIn48h = &threw
	}
	rec := screen.Record{Screen: s, Athlete: v.q.athlete}
	for i := range m.p.Measures {
		x := &m.p.Measures[i]
		if x.Derived != nil || len(v.links) > 0 && !slices.Contains(v.links, x.Link) {
			continue
		}
		m.measure(&rec, v, i)
	}
	if v.kind == screen.Preseason {
		m.checklist(&rec, v, lead)
	}
	m.symptoms(&rec, v)
	m.out.Records = append(m.out.Records, rec)
}

// measure takes one measure on its sides, or notes that it was not done, or forgets it.
func (m *maker) measure(rec *screen.Record, v *visit, i int) {
	x := &m.p.Measures[i]
	sides := []screen.Side{screen.Left, screen.Right}
	if !x.Paired {
		sides = []screen.Side{screen.NoSide}
	}
	examiner := m.station(v, x)
	again := v.repeat && (x.Link == "shoulder" || x.Link == "hip") && m.chance(0.6)
	hurts := v.q.index == m.roles.inPain && v.season == 1 && v.kind == screen.Preseason && strings.Contains(x.ID, "strength")
	for _, side := range sides {
		at := v.start.Add(time.Duration(len(rec.Readings)) * 20 * time.Second)
		switch {
		case hurts && side == screen.Side(v.q.athlete.HandOn(v.on)):
			m.notDone(rec, x, side, screen.ReasonPain, at)
		case !v.exchanged && m.chance(v.missing): // whose sides were exchanged is measured in full
		case !v.exchanged && m.chance(0.01):
			reasons := screen.Reasons()[1:] // pain has a place of its own
			m.notDone(rec, x, side, reasons[m.rng.IntN(len(reasons))], at)
		default:
			day := m.normal(0, x.Resolved.Day)
			m.read(rec, v, i, side, examiner, day, at)
			if again {
				m.read(rec, v, i, side, (examiner+m.rng.IntN(2))%len(m.out.Examiners), day, at.Add(25*time.Minute))
			}
		}
	}
}

// station is the examiner who stands at the station of a measure: three stations of three links each,
// and another order on another day.
func (m *maker) station(v *visit, x *screen.Measure) int {
	return (max(m.p.LinkIndex(x.Link), 0)/3 + v.season + v.q.team) % len(m.out.Examiners)
}

func (m *maker) notDone(rec *screen.Record, x *screen.Measure, side screen.Side, why screen.Reason, at time.Time) {
	rec.NotDone = append(rec.NotDone, screen.NotDone{ID: m.id(at), Screen: rec.Screen.ID, Measure: x.ID, Side: side, Reason: why, Entered: at})
}

// checklist answers the items of the throwing motion.
func (m *maker) checklist(rec *screen.Record, v *visit, examiner string) {
	at := v.start.Add(70 * time.Minute)
	for i := range m.p.Checklist {
		answer := m.seen()
		rec.Checklist = append(rec.Checklist, screen.ChecklistAnswer{ID: m.id(at), Screen: rec.Screen.ID,
			Item: m.p.Checklist[i].ID, Answer: answer, Examiner: examiner, Entered: at})
	}
}

// seen is what is seen of an item of the checklist.
func (m *maker) seen() screen.Answer {
	switch u := m.rng.Float64(); {
	case u < 0.10:
		return screen.NotSeen
	case u < 0.32:
		return screen.NotMet
	}
	return screen.Met
}

// symptoms notes a referral sign for the three who have one at this year's preseason screen, and now
// and then something harmless for others.
func (m *maker) symptoms(rec *screen.Record, v *visit) {
	at := v.start.Add(75 * time.Minute)
	add := func(id string, side screen.Side) {
		rec.Symptoms = append(rec.Symptoms, screen.Symptom{ID: m.id(at), Screen: rec.Screen.ID, Symptom: id, Side: side, Entered: at})
	}
	if v.season == 1 && v.kind == screen.Preseason {
		for k, i := range m.roles.referral {
			if id := m.referralSign(k); i == v.q.index && id != "" {
				add(id, screen.Side(v.q.athlete.HandOn(v.on)))
			}
		}
	}
	if m.chance(0.12) {
		var mild []string
		for _, s := range m.p.Symptoms {
			if !s.Referral {
				mild = append(mild, s.ID)
			}
		}
		if len(mild) > 0 {
			add(mild[m.rng.IntN(len(mild))], "")
		}
	}
}

// referralSign is the k-th of three signs, or one that the protocol has in its place.
func (m *maker) referralSign(k int) string {
	want := [3]string{"inner_elbow_tender", "numbness_or_tingling", "pain_next_session"}[k]
	if s := m.p.Symptom(want); s != nil && s.Referral {
		return want
	}
	for _, s := range m.p.Symptoms {
		if s.Referral {
			return s.ID
		}
	}
	return ""
}
