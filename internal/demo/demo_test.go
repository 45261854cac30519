package demo

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

const today screen.Date = "2026-03-01"

func protocol(t testing.TB) *screen.Protocol {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestSameSeedSameBytes(t *testing.T) {
	p := protocol(t)
	bytesOf := func(seed uint64, day screen.Date) []byte {
		b, err := json.Marshal(Squad(p, seed, day))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	if !bytes.Equal(bytesOf(7, today), bytesOf(7, today)) {
		t.Error("the same seed gives other bytes")
	}
	if bytes.Equal(bytesOf(7, today), bytesOf(8, today)) || bytes.Equal(bytesOf(7, today), bytesOf(7, today.AddDays(1))) {
		t.Error("another seed or day gives the same bytes")
	}
}

// Everything passes the validators that real entries pass, on leap days and around new year, too.
func TestEverythingIsValid(t *testing.T) {
	p := protocol(t)
	for seed, day := range []screen.Date{today, "2024-02-29", "2025-12-31", "2027-01-01"} {
		s := Squad(p, uint64(seed), day)
		var f screen.Faults
		for i := range s.Athletes {
			f = append(f, p.CheckAthlete(&s.Athletes[i], day, s.Athletes[i].Name)...)
		}
		for i := range s.Records {
			f = append(f, checkRecord(p, &s.Records[i], day)...)
		}
		if err := f.Err(); err != nil {
			t.Fatalf("seed %d on %s:\n%v", seed, day, err)
		}
	}
}

func checkRecord(p *screen.Protocol, r *screen.Record, day screen.Date) screen.Faults {
	f := screen.CheckScreen(&r.Screen, &r.Athlete, day, "screen")
	if r.Screen.On >= day {
		f.Add("screen.on", "a day before today", "%s", r.Screen.On)
	}
	for i := range r.Readings {
		f = append(f, p.CheckReading(&r.Readings[i], r.Readings[i].Measure)...)
		if r.Readings[i].Screen != r.Screen.ID {
			f.Add("reading", "", "of another screen")
		}
	}
	for i := range r.NotDone {
		f = append(f, p.CheckNotDone(&r.NotDone[i], "not done")...)
	}
	for i := range r.Checklist {
		f = append(f, p.CheckAnswer(&r.Checklist[i], "checklist")...)
	}
	for i := range r.Symptoms {
		f = append(f, p.CheckSymptom(&r.Symptoms[i], "symptom")...)
	}
	return f
}

func TestTheSquadIsAsPromised(t *testing.T) {
	p := protocol(t)
	for seed := range uint64(5) {
		s := Squad(p, seed, today)
		hands, changed, names := map[screen.Hand]int{}, 0, map[string]bool{}
		for i := range s.Athletes {
			a := &s.Athletes[i]
			hands[a.HandOn(today)]++
			if len(a.Hands) > 1 {
				changed++
			}
			names[a.Name] = true
			if age := a.Born.YearsTo(today); age < 9 || age >= 20 {
				t.Errorf("%s is %.1f years old", a.Name, age)
			}
			if !strings.HasPrefix(a.ExternalID, "DEMO-") {
				t.Errorf("%s is not marked as demo", a.Name)
			}
		}
		if len(names) != 48 || hands[screen.LeftHand] != 12 || hands[screen.BothHands] != 1 || changed != 1 {
			t.Errorf("%d names, hands %v, %d changed", len(names), hands, changed)
		}
		if len(s.Teams) != 2 || len(s.Seasons) != 4 || len(s.Memberships) != 96 || len(s.Examiners) != 3 {
			t.Errorf("%d teams, %d seasons, %d memberships", len(s.Teams), len(s.Seasons), len(s.Memberships))
		}
		for _, x := range s.Teams {
			if !strings.HasPrefix(x.Name, "Demo ") {
				t.Errorf("team %q is not marked as demo", x.Name)
			}
		}
		checkRecords(t, p, &s)
	}
}

// checkRecords counts what the records were promised to hold.
func checkRecords(t *testing.T, p *screen.Protocol, s *Scenario) {
	t.Helper()
	kinds, preseason, rehab, referral := map[screen.Kind]int{}, map[string]int{}, map[string]int{}, map[string]bool{}
	notDone, missing := 0, 0
	for i := range s.Records {
		r := &s.Records[i]
		kinds[r.Screen.Kind]++
		switch r.Screen.Kind {
		case screen.Preseason:
			preseason[r.Athlete.ID]++
			missing += 50 - len(r.Readings)
		case screen.Rehab:
			rehab[r.Athlete.ID]++
		}
		for _, x := range r.Symptoms {
			if p.Symptom(x.Symptom).Referral {
				referral[r.Athlete.ID] = true
			}
		}
		notDone += len(r.NotDone)
		if !strings.HasPrefix(r.Screen.Note, Label) {
			t.Errorf("screen %s is not marked as invented", r.Screen.ID)
		}
		if i > 0 && r.Screen.On < s.Records[i-1].Screen.On {
			t.Error("records are not in the order of days")
		}
	}
	if kinds[screen.Preseason] != 96 || kinds[screen.InSeason] != 28 || len(rehab) != 2 || kinds[screen.Rehab] != 10 {
		t.Errorf("screens %v, rehab %v", kinds, rehab)
	}
	for id, n := range preseason {
		if n != 2 {
			t.Errorf("%s has %d preseason screens", id, n)
		}
	}
	if len(referral) != 3 || notDone < 10 || missing == 0 {
		t.Errorf("%d with referral signs, %d not done, %d missing", len(referral), notDone, missing)
	}
}

// The swapped digits and the exchanged sides are asked about, and false alarms are few.
func TestQuestions(t *testing.T) {
	p := protocol(t)
	for seed := range uint64(10) {
		s := Squad(p, seed, today)
		last := map[string]*screen.Record{}
		asked := map[string]int{}
		for i := range s.Records {
			r := &s.Records[i]
			for _, q := range p.Questions(r, last[r.Athlete.ID]) {
				asked[q.Kind]++
			}
			if r.Screen.Kind == screen.Preseason {
				last[r.Athlete.ID] = r
			}
		}
		t.Logf("seed %d: %v", seed, asked)
		if asked["digits_swapped"] < 1 || asked["digits_swapped"] > 4 {
			t.Errorf("seed %d: %d times swapped digits", seed, asked["digits_swapped"])
		}
		if asked["other_hand"] < 1 || asked["other_hand"] > 8 {
			t.Errorf("seed %d: %d times exchanged sides", seed, asked["other_hand"])
		}
	}
}

// The athlete whose sides were exchanged is asked about, on any seed.
func TestExchangedSidesAreAsked(t *testing.T) {
	p := protocol(t)
	for seed := range uint64(20) {
		s := Squad(p, seed, today)
		m := newMaker(p, seed, today)
		m.teams()
		m.people()
		who, found := m.squad[m.roles.exchanged].athlete.ID, false
		for i := range s.Records {
			r := &s.Records[i]
			if r.Athlete.ID != who || r.Screen.Kind != screen.Preseason || r.Screen.On < today.AddDays(-thisPreseason) {
				continue
			}
			for _, q := range p.Questions(r, nil) {
				found = found || q.Kind == "other_hand"
			}
		}
		if !found {
			t.Errorf("seed %d: nobody asks about the sides", seed)
		}
	}
}

// Means over a large invented squad lie where the published ones do: Soucie JM et al. for elbow
// flexion (148 to 150 degrees), Breen EO et al. for stance errors (2.5 to 4.5), both as quoted in the
// protocol; and the mean loss of internal rotation is that of the protocol's prior (9.6 to 11).
func TestValuesAreRealistic(t *testing.T) {
	p := protocol(t)
	sums, n := map[string]float64{}, map[string]float64{}
	loss, pairs := 0.0, 0.0
	for seed := range uint64(8) {
		s := Squad(p, seed, today)
		for i := range s.Records[:48] { // last year's preseason
			r := &s.Records[i]
			in := map[screen.Side]float64{}
			for _, x := range r.Readings {
				for _, v := range x.Trials {
					sums[x.Measure] += v
					n[x.Measure]++
				}
				if x.Measure == "shoulder_internal_rotation" {
					in[x.Side] = x.Trials[0]
				}
			}
			if hand := screen.Side(r.Athlete.HandOn(r.Screen.On)); len(in) == 2 && (hand == screen.Left || hand == screen.Right) {
				loss += in[hand.Other()] - in[hand]
				pairs++
			}
		}
	}
	for measure, want := range map[string][2]float64{
		"elbow_flexion": {145, 151}, "stance_errors": {2.5, 4.5}, "hip_internal_rotation": {33, 43},
		"shoulder_external_rotation": {94, 112}, "trunk_rotation": {39, 52}, "lunge_distance": {8, 12},
	} {
		if mean := sums[measure] / n[measure]; mean < want[0] || mean > want[1] {
			t.Errorf("%s: mean %.1f, want %g to %g", measure, mean, want[0], want[1])
		}
	}
	if mean := loss / pairs; mean < 8 || mean > 13 {
		t.Errorf("mean loss of internal rotation %.1f over %.0f athletes", mean, pairs)
	}
}

func TestIDsAreVersion7AndOnce(t *testing.T) {
	s := Squad(protocol(t), 1, today)
	seen := map[string]bool{}
	add := func(id string) {
		if seen[id] || len(id) != 36 || id[14] != '7' || strings.IndexByte("89ab", id[19]) < 0 {
			t.Errorf("id %q", id)
		}
		seen[id] = true
	}
	for _, x := range s.Athletes {
		add(x.ID)
	}
	for _, r := range s.Records {
		add(r.Screen.ID)
		for _, x := range r.Readings {
			add(x.ID)
		}
		for _, x := range r.Checklist {
			add(x.ID)
		}
	}
}

func TestRounded(t *testing.T) {
	for _, c := range []struct{ x, step, want float64 }{
		{12.34, 0.1, 12.3}, {12.26, 0.5, 12.5}, {41.5, 1, 42}, {43, 5, 45}, {-4.4, 1, -4}, {1.26, 0, 1.3},
	} {
		if got := rounded(c.x, c.step); got != c.want {
			t.Errorf("rounded(%g, %g) = %v, want %v", c.x, c.step, got, c.want)
		}
	}
}

// The Poisson draws have mean and variance equal to the rate.
func TestPoisson(t *testing.T) {
	m := newMaker(protocol(t), 3, today)
	const rate, n = 3.8, 20000
	sum, squares := 0.0, 0.0
	for range n {
		x := m.poisson(rate)
		sum += x
		squares += x * x
	}
	mean := sum / n
	if v := squares/n - mean*mean; math.Abs(mean-rate) > 0.1 || math.Abs(v-rate) > 0.2 {
		t.Errorf("mean %.2f, variance %.2f", mean, v)
	}
}

// A protocol of the user's own, of one measure without sides, does as well.
func TestAnotherProtocol(t *testing.T) {
	p, err := screen.LoadProtocol("own.yaml", strings.NewReader(`
extends: default
name: own
version: "1"
title: Another protocol
measures:
  - id: kyphosis
    name: Thoracic kyphosis
    link: trunk
    unit: deg
    paired: false
    worse: higher
    scale: linear
    trials: {planned: 1, most: 5, combine: mean}
    step: 1
    plausible: [0, 90]
    typical: [20, 50]
    range_status: common_practice
    error:
      trial: {value: 1, status: assumed}
      within: {sem: 3, trials: 1, same_session: true, status: assumed}
`))
	if err != nil {
		t.Fatal(err)
	}
	s := Squad(p, 1, today)
	found := false
	for i := range s.Records {
		if f := checkRecord(p, &s.Records[i], today); len(f) > 0 {
			t.Fatal(f)
		}
		for _, x := range s.Records[i].Readings {
			found = found || x.Measure == "kyphosis" && x.Side == screen.NoSide
		}
	}
	if !found {
		t.Error("the added measure was not read")
	}
}

// Events are valid, name the squad's athletes, and say that they are invented. One of the two whose
// deficits are trained closes it.
func TestEvents(t *testing.T) {
	p := protocol(t)
	s := Squad(p, 1, today)
	kinds := map[screen.EventKind]int{}
	for i := range s.Events {
		e := &s.Events[i]
		if f := p.CheckEvent(e, today, ""); len(f) > 0 {
			t.Error(f)
		}
		if !slices.ContainsFunc(s.Athletes, func(a screen.Athlete) bool { return a.ID == e.Athlete }) || !strings.Contains(e.Note, "invented") {
			t.Errorf("%+v", e)
		}
		kinds[e.Kind]++
	}
	if kinds[screen.EventInjury] != 2 || kinds[screen.EventClearance] != 1 || kinds[screen.EventTraining] != 2 {
		t.Errorf("events %v", kinds)
	}
	if on, ok := s.NewestPreseason(s.Teams[0].ID); !ok || on != today.AddDays(-thisPreseason) {
		t.Errorf("newest preseason %s", on)
	}
	if _, ok := s.NewestPreseason("nowhere"); ok {
		t.Error("a team without screens has a newest one")
	}
}
