package score

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenhand/internal/screen"
)

// drawRecord is a record of random readings of the default protocol, with gaps.
func drawRecord(t *rapid.T, p *screen.Protocol) *screen.Record {
	hand := rapid.SampledFrom([]screen.Hand{screen.LeftHand, screen.RightHand, screen.BothHands}).Draw(t, "hand")
	a := throwerOf(hand, screen.Date(fmt.Sprintf("%d-06-15", rapid.IntRange(1995, 2017).Draw(t, "born"))),
		rapid.SampledFrom([]screen.Sex{screen.Male, screen.Female}).Draw(t, "sex"))
	var readings []screen.Reading
	for i := range p.Measures {
		m := &p.Measures[i]
		if m.Derived != nil {
			continue
		}
		for _, side := range []screen.Side{screen.Left, screen.Right} {
			for range rapid.IntRange(0, 2).Draw(t, "readings") {
				k := rapid.IntRange(1, min(3, m.Trials.Most)).Draw(t, "trials")
				trials := make([]float64, k)
				for j := range trials {
					trials[j] = drawValue(t, m)
				}
				r := reading(m.ID, side, trials...)
				r.Examiner = rapid.SampledFrom([]string{"k", "l", "m"}).Draw(t, "examiner")
				readings = append(readings, r)
			}
		}
	}
	return recordOf(a, readings...)
}

func drawValue(t *rapid.T, m *screen.Measure) float64 {
	if m.Scale == screen.Category {
		return float64(rapid.IntRange(0, len(m.Categories)-1).Draw(t, "category"))
	}
	lo, hi := m.Plausible[0], m.Plausible[1]
	if m.Typical != nil {
		lo, hi = m.Typical[0], m.Typical[1]
	}
	return math.Round(lo + (hi-lo)*rapid.Float64Range(0, 1).Draw(t, "value"))
}

// mirrored is the record of the athlete's mirror image, who throws with the other hand.
func mirrored(rec *screen.Record) *screen.Record {
	out := *rec
	out.Athlete.Hands = slices.Clone(rec.Athlete.Hands)
	for i, h := range out.Athlete.Hands {
		switch h.Hand {
		case screen.LeftHand:
			out.Athlete.Hands[i].Hand = screen.RightHand
		case screen.RightHand:
			out.Athlete.Hands[i].Hand = screen.LeftHand
		}
	}
	out.Readings = slices.Clone(rec.Readings)
	for i := range out.Readings {
		out.Readings[i].Side = out.Readings[i].Side.Other()
	}
	return &out
}

// sameFindings compares reports of mirror images: everything but the names of the sides. For a switch
// thrower the difference turns its sign, since it is right against left.
func sameFindings(a, b *Report, mirror bool) error {
	if len(a.Findings) != len(b.Findings) {
		return fmt.Errorf("%d and %d findings", len(a.Findings), len(b.Findings))
	}
	key := func(f *Finding, sides bool) string {
		if sides {
			return f.Rule + f.Role
		}
		return f.Rule + string(f.Side)
	}
	other := map[string]*Finding{}
	for i := range b.Findings {
		f := b.Findings[i]
		if mirror && !b.Sides {
			f.Side = f.Side.Other()
		}
		other[key(&f, b.Sides)] = &b.Findings[i]
	}
	for i := range a.Findings {
		f := &a.Findings[i]
		g := other[key(f, a.Sides)]
		if g == nil {
			return fmt.Errorf("%s, %s has no mirror image", f.Rule, f.Role)
		}
		df, dg := f.Difference, g.Difference
		if !a.Sides {
			df, dg = math.Abs(df), math.Abs(dg)
		}
		if f.Verdict != g.Verdict || math.Abs(f.P-g.P) > 1e-9 || math.Abs(f.PMeasured-g.PMeasured) > 1e-9 || math.Abs(df-dg) > 1e-6 || math.Abs(f.SE-g.SE) > 1e-6 {
			return fmt.Errorf("%s: %+v\n%+v", f.Rule, *f, *g)
		}
	}
	for i := range a.Links {
		if p, q := a.Links[i].P, b.Links[i].P; (p == nil) != (q == nil) || p != nil && math.Abs(*p-*q) > 5e-4 { // the quadrature's error
			return fmt.Errorf("link %s differs", a.Links[i].Link)
		}
	}
	return nil
}

func TestMirrorImageHasTheSameFindings(t *testing.T) {
	s := defaultScorer(t)
	rapid.Check(t, func(t *rapid.T) {
		rec := drawRecord(t, s.p)
		if err := sameFindings(s.Score(rec, Options{}), s.Score(mirrored(rec), Options{}), true); err != nil {
			t.Fatal(err)
		}
	})
}

// The order of readings and the names of examiners change nothing; the same record gives the same
// bytes every time.
func TestOrderAndNamesChangeNothing(t *testing.T) {
	s := defaultScorer(t)
	rename := strings.NewReplacer("k", "x", "l", "a", "m", "q")
	rapid.Check(t, func(t *rapid.T) {
		rec := drawRecord(t, s.p)
		a := s.Score(rec, Options{})
		if x, y := asJSON(a), asJSON(s.Score(rec, Options{})); x != y {
			t.Fatalf("two scores of one record differ:\n%s\n%s", x, y)
		}
		turned := *rec
		turned.Readings = slices.Clone(rec.Readings)
		slices.Reverse(turned.Readings)
		for i := range turned.Readings {
			turned.Readings[i].Examiner = rename.Replace(turned.Readings[i].Examiner)
		}
		if err := sameFindings(a, s.Score(&turned, Options{}), false); err != nil {
			t.Fatal(err)
		}
	})
}

func asJSON(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

// A reading changes no finding of a measure that is not computed from it.
func TestReadingChangesOnlyItsMeasure(t *testing.T) {
	s := defaultScorer(t)
	rapid.Check(t, func(t *rapid.T) {
		rec := drawRecord(t, s.p)
		a := s.Score(rec, Options{})
		more := *rec
		more.Readings = append(slices.Clone(rec.Readings), reading("trunk_rotation", screen.Left, 20))
		b := s.Score(&more, Options{})
		for i := range a.Findings {
			f := &a.Findings[i]
			if f.Link == "trunk" {
				continue
			}
			at := slices.IndexFunc(b.Findings, func(g Finding) bool { return g.Rule == f.Rule && g.Side == f.Side })
			if at < 0 || !reflect.DeepEqual(*f, b.Findings[at]) {
				t.Fatalf("a reading of the trunk changed %s", f.Rule)
			}
		}
	})
}

func TestMoreTrialsNeverWidenAnError(t *testing.T) {
	s := defaultScorer(t)
	rapid.Check(t, func(t *rapid.T) {
		m := s.p.Measure(rapid.SampledFrom([]string{"shoulder_internal_rotation", "hip_internal_rotation", "lunge_distance", "grip_strength"}).Draw(t, "measure"))
		mid := (m.Plausible[0] + m.Plausible[1]) / 2
		se := func(left, right int) float64 {
			w := &work{}
			w.begin(s, recordOf(throwerOf(screen.RightHand, "2010-01-01", screen.Male),
				reading(m.ID, screen.Left, slices.Repeat([]float64{mid}, left)...),
				reading(m.ID, screen.Right, slices.Repeat([]float64{mid}, right)...)), Options{})
			l := s.difference(s.p.MeasureIndex(m.ID), w.d)
			return l.se(w.est)
		}
		a, b := rapid.IntRange(1, 9).Draw(t, "left"), rapid.IntRange(1, 9).Draw(t, "right")
		if se(a+1, b) > se(a, b) || se(a, b+1) > se(a, b) {
			t.Fatalf("%s: %g, with one more trial %g and %g", m.ID, se(a, b), se(a+1, b), se(a, b+1))
		}
	})
}

// Another reading, by whomever, never widens an error either.
func TestMoreReadingsNeverWidenAnError(t *testing.T) {
	s := defaultScorer(t)
	rapid.Check(t, func(t *rapid.T) {
		rec := drawRecord(t, s.p)
		more := *rec
		i := rapid.IntRange(0, len(s.p.Measures)-1).Draw(t, "measure")
		m := &s.p.Measures[i]
		if m.Derived != nil || m.Scale == screen.Category || m.Scale == screen.Count {
			return
		}
		more.Readings = append(slices.Clone(rec.Readings), screen.Reading{Measure: m.ID, Side: screen.Left, Trials: []float64{drawValue(t, m)},
			Examiner: rapid.SampledFrom([]string{"k", "l", "z"}).Draw(t, "examiner")})
		a, b := &work{}, &work{}
		a.begin(s, rec, Options{})
		b.begin(s, &more, Options{})
		l := s.difference(i, a.d)
		if m.Pooled || !l.measured(a.est) {
			return
		}
		if x, y := l.se(a.est), l.se(b.est); y > x*(1+1e-9) {
			t.Fatalf("%s: the error grew from %g to %g", m.ID, x, y)
		}
	})
}

func TestProbabilityRisesWithTheDifference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := comparison{tau: rapid.Float64Range(1, 20).Draw(t, "tau"), absolute: rapid.Bool().Draw(t, "absolute")}
		if rapid.Bool().Draw(t, "prior") {
			c.prior, c.omega = true, rapid.Float64Range(0.5, 20).Draw(t, "omega")
			if !c.absolute {
				c.mu = rapid.Float64Range(-10, 10).Draw(t, "mu")
			}
		}
		se := rapid.Float64Range(0.1, 15).Draw(t, "se")
		d := rapid.Float64Range(0, 40).Draw(t, "d")
		e := d + rapid.Float64Range(0.01, 5).Draw(t, "more")
		p := func(x float64) float64 { m, sd := c.posterior(x, se); return c.probability(m, sd) }
		if c.probability(e, se) < c.probability(d, se) || p(e) < p(d)-1e-15 {
			t.Fatal("a larger difference is less probable")
		}
	})
}

// Another unit changes nothing: values, errors, threshold and prior times the same factor.
func TestUnitsChangeNothing(t *testing.T) {
	for _, k := range []float64{0.1, 10, 2.54} {
		score := func(k float64) *Finding {
			s := New(protocolWith(t, 1.5*k, 2*k, 13*k, 8*k, 7*k))
			return findingOf(t, s.Score(recordOf(throwerOf(screen.LeftHand, "2011-04-02", screen.Male),
				reading("turn", screen.Left, 30*k, 31*k), reading("turn", screen.Right, 44*k)), Options{}), "loss")
		}
		a, b := score(1), score(k)
		near(t, "P measured", b.PMeasured, a.PMeasured, 1e-12)
		near(t, "P", b.P, a.P, 1e-12)
		near(t, "difference", b.Difference, a.Difference*k, 1e-9)
		near(t, "chance", b.Chance.AnotherDay, a.Chance.AnotherDay, 1e-9)
	}
}

// The stated chance that measuring again settles a finding, against a simulation of doing so: truth
// drawn from what is known now, a new reading, the verdict by both probabilities.
func TestChanceToSettleIsTrue(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, rule := range []string{"loss", "apart"} {
		for _, d := range []float64{9, 12, 13.5, 15, 17} {
			mu := 8.0
			if rule == "apart" {
				mu = 0
			}
			s := New(protocolWith(t, 1.5, 2.2, 13, mu, 7))
			rep := s.Score(recordOf(throwerOf(screen.RightHand, "2011-04-02", screen.Male), reading("turn", screen.Right, 40), reading("turn", screen.Left, 40+d)), Options{})
			f := findingOf(t, rep, rule)
			if f.Chance == nil {
				continue
			}
			c := comparison{tau: 13, absolute: rule == "apart", prior: true, mu: mu, omega: 7}
			again := math.Sqrt(2 * (1.5*1.5 + 2.2*2.2)) // one more reading of each side, newly placed
			settled, n := 0, 40000
			for range n {
				truth := f.PostMean + f.PostSD*rng.NormFloat64()
				y := truth + again*rng.NormFloat64()
				v := parallel(f.SE*f.SE, again*again)
				x := v * (d/(f.SE*f.SE) + y/(again*again))
				m, sd := c.posterior(x, math.Sqrt(v))
				if s.verdict(c.probability(x, math.Sqrt(v)), c.probability(m, sd)) != Unsettled {
					settled++
				}
			}
			near(t, fmt.Sprintf("%s, D = %g", rule, d), f.Chance.NewPlacing, float64(settled)/float64(n), 0.012)
		}
	}
}

// The two-condition rule and the shoulder's link, exact here, against the lattice.
func TestShoulderAgainstLattice(t *testing.T) {
	s := defaultScorer(t)
	rng := rand.New(rand.NewPCG(3, 4))
	for range 60 {
		d := func() float64 { return math.Round(12 * rng.NormFloat64()) }
		rec := recordOf(throwerOf(screen.RightHand, "2004-01-01", screen.Male),
			reading("shoulder_internal_rotation", screen.Right, 50), reading("shoulder_internal_rotation", screen.Left, 62+d()),
			reading("shoulder_external_rotation", screen.Right, 110), reading("shoulder_external_rotation", screen.Left, 105+d()),
			reading("shoulder_horizontal_adduction", screen.Right, 10), reading("shoulder_horizontal_adduction", screen.Left, 16+d()),
			reading("shoulder_flexion", screen.Right, 170), reading("shoulder_flexion", screen.Left, 172))
		rep := s.Score(rec, Options{})
		w := &work{}
		w.begin(s, rec, Options{})
		for i := range s.rules {
			w.rule(i)
		}
		j := w.newJoint()
		for i := range s.rules {
			if r := &s.rules[i]; r.Link == "shoulder" && r.Counted && w.findings(r.ID) > 0 {
				w.countIn(j, i)
			}
		}
		lattice := j.posterior().Lattice(j.clauses)
		near(t, "shoulder", *rep.Links[slices.IndexFunc(rep.Links, func(l LinkResult) bool { return l.Link == "shoulder" })].P, lattice, 0.003)
	}
}
