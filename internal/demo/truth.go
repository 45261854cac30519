package demo

import (
	"math"

	"evenhand/internal/screen"
)

// usual is what athletes of an age have, in the measure's unit: the mean at 9 and at 19 years and the
// spread between athletes; then mean and spread of the difference of sides, used where the protocol
// has no prior. On a log scale the spreads are of the logarithm. perLimb: the means are shares of the
// limb length. strength: the athlete's general strength counts, and boys gain more.
type usual struct {
	at9, at19, sd, diff, diffSD float64
	perLimb, strength           bool
}

// usuals are near the norms that the protocol quotes for youth and college players; where it quotes
// none they are our own assumption. They serve only to make the demo look like a squad.
var usuals = map[string]usual{
	"lunge_distance":                      {at9: 9.5, at19: 10.5, sd: 2.2, diffSD: 0.6},
	"lunge_angle":                         {at9: 38, at19: 40, sd: 4.5, diffSD: 1.8},
	"hip_internal_rotation":               {at9: 42, at19: 34, sd: 6},
	"hip_external_rotation":               {at9: 43, at19: 42, sd: 6},
	"stance_time_eyes_closed":             {at9: 10, at19: 18, sd: 0.4, diffSD: 0.12},
	"reach_anterior":                      {at9: 0.72, at19: 0.70, sd: 0.04, perLimb: true, diffSD: 2},
	"reach_posteromedial":                 {at9: 1.06, at19: 1.06, sd: 0.06, perLimb: true, diffSD: 3},
	"reach_posterolateral":                {at9: 1.00, at19: 1.01, sd: 0.06, perLimb: true, diffSD: 3},
	"limb_length":                         {at9: 1, at19: 1, sd: 0.01, perLimb: true, diffSD: 0.2},
	"trunk_rotation":                      {at9: 42, at19: 50, sd: 7},
	"scapula_distance_rest":               {at9: 74, at19: 90, sd: 8},
	"scapula_distance_hands_on_hips":      {at9: 77, at19: 93, sd: 8},
	"scapula_distance_abducted":           {at9: 84, at19: 102, sd: 9},
	"shoulder_internal_rotation":          {at9: 44, at19: 58, sd: 7},
	"shoulder_external_rotation":          {at9: 100, at19: 107, sd: 7},
	"shoulder_flexion":                    {at9: 174, at19: 168, sd: 5},
	"shoulder_horizontal_adduction":       {at9: 20, at19: 14, sd: 7},
	"shoulder_external_rotation_strength": {at9: 60, at19: 140, sd: 0.07, strength: true, diffSD: 0.05},
	"shoulder_internal_rotation_strength": {at9: 74, at19: 172, sd: 0.07, strength: true, diffSD: 0.05},
	"elbow_extension":                     {at9: 6, at19: 4, sd: 3, diff: 1.5, diffSD: 2},
	"elbow_flexion":                       {at9: 149, at19: 146, sd: 3.5, diff: 2, diffSD: 2.5},
	"elbow_carrying_angle":                {at9: 10, at19: 11, sd: 3, diff: 2, diffSD: 2},
	"forearm_pronation":                   {at9: 81, at19: 79, sd: 4.5, diffSD: 3},
	"forearm_supination":                  {at9: 89, at19: 86, sd: 5, diffSD: 3},
	"grip_strength":                       {at9: 14, at19: 37, sd: 0.09, strength: true, diff: -0.03, diffSD: 0.05},
}

// strengthSD is the spread of general strength between athletes of an age, as a logarithm.
const strengthSD = 0.13

// usualOf is the entry of a measure; the middle of the typical range for one of a user's protocol.
func usualOf(m *screen.Measure) usual {
	if u, ok := usuals[m.ID]; ok {
		return u
	}
	if len(m.Typical) != 2 {
		return usual{}
	}
	lo, hi := m.Typical[0], m.Typical[1]
	if m.Scale == screen.Log {
		mid := math.Sqrt(max(lo, 1e-3) * hi)
		return usual{at9: mid, at19: mid, sd: 0.1, diffSD: 0.05}
	}
	return usual{at9: (lo + hi) / 2, at19: (lo + hi) / 2, sd: (hi - lo) / 8, diffSD: (hi - lo) / 20}
}

// drawTruth draws an athlete's value for age and the true difference of sides of every measure: from
// the protocol's prior where there is one.
func (m *maker) drawTruth(q *person) {
	subject := m.p.SubjectOn(&q.athlete, m.today)
	strong := m.normal(0, strengthSD)
	for i := range m.p.Measures {
		x := &m.p.Measures[i]
		u := usualOf(x)
		z := float64(u.sd * m.rng.NormFloat64())
		if u.strength {
			z += strong
		}
		q.z = append(q.z, z)
		mean, sd, ok := x.PriorFor(&subject)
		if !ok {
			mean, sd = u.diff, u.diffSD
		}
		q.diff = append(q.diff, m.normal(mean, sd))
	}
	m.tieRotations(q, &subject)
	if q.index == m.roles.exchanged { // so that the exchange shows
		m.setDiff(q, "shoulder_internal_rotation", 17)
		m.setDiff(q, "shoulder_external_rotation", -15)
	}
}

func (m *maker) setDiff(q *person, measure string, d float64) {
	if i := m.p.MeasureIndex(measure); i >= 0 {
		q.diff[i] = d
	}
}

// tieRotations makes a shoulder that loses internal rotation gain external rotation, as throwers' do:
// drawn apart, the two would spread the total arc wider than its own prior says.
func (m *maker) tieRotations(q *person, subject *screen.Subject) {
	in, out := m.p.MeasureIndex("shoulder_internal_rotation"), m.p.MeasureIndex("shoulder_external_rotation")
	if in < 0 || out < 0 {
		return
	}
	m1, s1, ok1 := m.p.Measures[in].PriorFor(subject)
	m2, s2, ok2 := m.p.Measures[out].PriorFor(subject)
	if !ok1 || !ok2 {
		return
	}
	const r = -0.35 // from the spreads of the three priors
	z1, z2 := (q.diff[in]-m1)/s1, (q.diff[out]-m2)/s2
	q.diff[out] = m2 + float64(s2*(float64(r*z1)+float64(math.Sqrt(1-r*r)*z2)))
}

// limbLength is the length of the leg, cm: about half of the height (assumed).
func (q *person) limbLength(age float64) float64 { return 0.52 * q.heightAt(age) }

// truth is the value that an athlete truly has of a measure on a side at an age. extra is added to
// the difference of sides.
func (m *maker) truth(q *person, i int, side screen.Side, on screen.Date, extra float64) float64 {
	x := &m.p.Measures[i]
	u := usualOf(x)
	age := q.athlete.Born.YearsTo(on)
	share := min(max((age-9)/10, -0.1), 1)
	mid := u.at9 + float64((u.at19-u.at9)*share)
	if u.strength && q.athlete.Sex == screen.Female {
		mid *= 1 - 0.2*max(share, 0)
	}
	d := m.towards(q, x, side, on) * (q.diff[i] + extra)
	switch {
	case u.perLimb:
		return q.limbLength(age)*(mid+q.z[i]) + d
	case x.Scale == screen.Log:
		return mid * math.Exp(q.z[i]+d)
	}
	return mid + q.z[i] + d
}

// towards is the share of the difference of sides that a side has: half of it better or worse than
// the middle. A switch thrower's right side stands for the throwing one.
func (m *maker) towards(q *person, x *screen.Measure, side screen.Side, on screen.Date) float64 {
	if side == screen.NoSide {
		return 0
	}
	first := screen.Right
	if q.athlete.HandOn(on) == screen.LeftHand {
		first = screen.Left
	}
	if x.Limb == screen.Leg && q.athlete.HandOn(on) != screen.BothHands {
		first = first.Other() // the lead leg
	}
	half := 0.5
	if x.Worse == "lower" {
		half = -half
	}
	if side != first {
		half = -half
	}
	return half
}
