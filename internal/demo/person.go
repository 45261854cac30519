package demo

import (
	"fmt"
	"math"

	"evenhand/internal/screen"
)

// person is an athlete with what is true of him or her, which nobody can measure without error.
type person struct {
	athlete screen.Athlete
	team    int
	index   int
	tall    float64   // height for age, in standard deviations
	z       []float64 // by measure: value for age, in standard deviations
	diff    []float64 // by measure: true difference of sides; larger is worse for the throwing side or lead leg
	deficit map[string]float64
}

// roles says who of the squad is what, by index. No athlete has two roles.
type roles struct {
	left           []int // throw with the left hand today
	changed        int   // one of them: threw with the right before
	both           int
	rehab          [2]int
	exchanged      int
	referral       [3]int
	deficit        [8]int
	late, inPain   int
	swapCandidates []int
}

// drawRoles deals the roles. A quarter of the squad throws with the left hand.
func (m *maker) drawRoles() {
	n := m.rng.Perm(Athletes)
	take := func(k int) (out []int) { out, n = n[:k], n[k:]; return out }
	m.roles.left = take(Athletes / 4)
	m.roles.changed = m.roles.left[0]
	m.roles.both = take(1)[0]
	m.roles.rehab = [2]int(take(2))
	m.roles.exchanged = take(1)[0]
	m.roles.referral = [3]int(take(3))
	m.roles.deficit = [8]int(take(8))
	m.roles.followedFirst()
	m.roles.late, m.roles.inPain = take(1)[0], take(1)[0]
	m.roles.swapCandidates = n
}

// deficits are the true differences of those who have one, in the measure's unit; on a log scale as a
// difference of logarithms. They arise between the two seasons.
var deficits = [8]map[string]float64{
	{"shoulder_internal_rotation": 27, "shoulder_external_rotation": 2},
	{"shoulder_horizontal_adduction": 26},
	{"shoulder_flexion": 19},
	{"elbow_extension": 18},
	{"lunge_distance": 4.5, "lunge_angle": 11},
	{"hip_internal_rotation": 22},
	{"trunk_rotation": 21},
	{"grip_strength": 0.33},
}

// people makes the athletes, their memberships, and what is true of them.
func (m *maker) people() {
	m.drawRoles()
	ages := m.rng.Perm(Athletes) // one athlete in each of 48 slices of the ages from 9 to 19
	for i := range Athletes {
		age := 9 + 10.9*(float64(ages[i])+m.rng.Float64())/Athletes
		q := &person{index: i, tall: m.normal(0, 1), athlete: screen.Athlete{Name: invented[i].name, Sex: invented[i].sex}}
		if i >= firstTeam {
			q.team = 1
		}
		m.squad = append(m.squad, q)
		m.describe(q, age)
		m.drawTruth(q)
		m.out.Athletes = append(m.out.Athletes, q.athlete)
		for k := range 2 {
			s := &m.out.Seasons[2*q.team+k]
			b := screen.Membership{ID: m.id(s.From.Time()), Team: s.Team, Season: s.ID, Athlete: q.athlete.ID, From: s.From}
			if k == 0 {
				b.To = s.To
			}
			m.out.Memberships = append(m.out.Memberships, b)
		}
	}
	for k, i := range m.roles.deficit {
		m.squad[i].deficit = deficits[k]
	}
}

// describe fills in what is written on an athlete's card.
func (m *maker) describe(q *person, age float64) {
	at := m.ago(lastSeasonFrom).Time()
	a := &q.athlete
	a.ID, a.Changed = m.id(at), at
	a.ExternalID = fmt.Sprintf("DEMO-%02d", q.index+1)
	a.Born = m.today.AddDays(-int(math.Ceil(age * 365.25)))
	a.Sport = m.out.Teams[q.team].Sport
	a.Level = levelAt(age)
	if s := m.p.Sport(a.Sport); s != nil && len(s.Positions) > 0 {
		a.Positions = []string{s.Positions[m.rng.IntN(len(s.Positions))]}
	}
	a.Hands = m.hands(q.index)
	height := q.heightAt(age)
	bmi := m.normal(16+0.55*(age-9), 1.6)
	a.HeightCM = math.Round(height)
	a.MassKG = math.Round(2*bmi*height*height/10000) / 2
}

func levelAt(age float64) screen.Level {
	switch {
	case age < 13.5:
		return screen.Youth
	case age < 18.3:
		return screen.School
	}
	return screen.College
}

func (m *maker) hands(i int) []screen.HandSince {
	switch i {
	case m.roles.changed:
		return []screen.HandSince{{Hand: screen.RightHand}, {Hand: screen.LeftHand, From: m.ago(handChanged)}}
	case m.roles.both:
		return []screen.HandSince{{Hand: screen.BothHands}}
	}
	for _, k := range m.roles.left {
		if i == k {
			return []screen.HandSince{{Hand: screen.LeftHand}}
		}
	}
	return []screen.HandSince{{Hand: screen.RightHand}}
}

// Standing height at 8, 9 … 20 years, cm, and its standard deviation. Rounded figures of common growth
// charts, from memory; good enough to look right, not to be relied on.
var (
	boysHeight  = []float64{128, 134, 139, 144, 150, 157, 164, 170, 174, 176, 177, 177, 177}
	girlsHeight = []float64{127, 133, 138, 145, 152, 157, 160, 162, 163, 163, 164, 164, 164}
)

const heightSD = 6.0

// heightAt is a person's height at an age in years.
func (q *person) heightAt(age float64) float64 {
	table := boysHeight
	if q.athlete.Sex == screen.Female {
		table = girlsHeight
	}
	x := min(max(age-8, 0), float64(len(table)-1)-1e-9)
	i := int(x)
	return table[i] + float64((table[i+1]-table[i])*(x-float64(i))) + float64(heightSD*q.tall)
}
