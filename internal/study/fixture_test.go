package study

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

func protocol(t testing.TB) *screen.Protocol {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

type checker interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

func near(t checker, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*max(1, math.Abs(want))) {
		t.Errorf("%s = %.10g, want %.10g", what, got, want)
	}
}

// measureOf is the study of one measure; the test fails if it is not there.
func measureOf(t checker, s *Study, id string) *Measure {
	t.Helper()
	for i := range s.Measures {
		if s.Measures[i].Measure == id {
			return &s.Measures[i]
		}
	}
	t.Fatalf("the study has no %s", id)
	return nil
}

func (m *Measure) component(t checker, id string) *Component {
	t.Helper()
	for i := range m.Components {
		if m.Components[i].ID == id {
			return &m.Components[i]
		}
	}
	t.Fatalf("%s has no component %s", m.Measure, id)
	return nil
}

// writable fails unless the study can be written as JSON, which refuses what is not finite, and every
// measure says something.
func writable(t checker, s *Study) {
	t.Helper()
	if _, err := json.Marshal(s); err != nil {
		t.Fatalf("%v", err)
	}
	for i := range s.Measures {
		m := &s.Measures[i]
		if m.Statement == "" {
			t.Errorf("%s: no statement", m.Measure)
		}
		for _, c := range m.Components {
			if c.Pooled < 0 || c.SD != nil && *c.SD < 0 {
				t.Errorf("%s: %+v", m.Measure, c)
			}
		}
	}
}

// plan is a retest to be drawn, with its truth.
type plan struct {
	measure                                  string
	athletes, placings, days, trials         int
	examiners                                []string // taken in turn, one for each placing
	mean                                     float64
	athlete, side, day, placing, trial, each float64 // standard deviations; each: of examiners
	both                                     float64 // of what both sides of a placing share
	log                                      bool
}

var turnPlan = plan{measure: "hip_internal_rotation", athletes: 12, placings: 2, days: 1, trials: 2, examiners: []string{"A"},
	mean: 38, athlete: 6, side: 3, placing: 2, trial: 1.5}

// draw makes the readings of a plan.
func (p plan) draw(seed uint64) []Reading {
	rng := rand.New(rand.NewPCG(seed, 5))
	bias := map[string]float64{}
	for _, e := range p.examiners {
		bias[e] = p.each * rng.NormFloat64()
	}
	var out []Reading
	for a := range p.athletes {
		ya := p.mean + p.athlete*rng.NormFloat64()
		var ys [2]float64
		for s := range ys {
			ys[s] = ya + p.side*rng.NormFloat64()
		}
		for d := range p.days {
			var yd [2]float64
			for s := range yd {
				yd[s] = ys[s] + p.day*rng.NormFloat64()
			}
			for k := range p.placings {
				e := p.examiners[(a+d*p.placings+k)%len(p.examiners)]
				shared := p.both * rng.NormFloat64()
				for s, side := range []screen.Side{screen.Left, screen.Right} {
					yp := yd[s] + bias[e] + shared + p.placing*rng.NormFloat64()
					r := Reading{Athlete: fmt.Sprintf("athlete %02d", a), Measure: p.measure, Side: side, Examiner: e, Occasion: screen.Date("2026-02-10").AddDays(d * 7)}
					for range p.trials {
						y := yp + p.trial*rng.NormFloat64()
						if p.log {
							y = math.Exp(y)
						}
						r.Trials = append(r.Trials, y)
					}
					out = append(out, r)
				}
			}
		}
	}
	return out
}

// references are values computed by R, copied from the statistics package; each names its source.
type references struct {
	ICC struct {
		Ratings        [][]float64 `json:"ratings_rows_are_subjects"`
		ICC            []float64
		Lower95        []float64
		Upper95        []float64
		SourceAsStated string `json:"source"`
	}
	Limits struct {
		A, B         []float64
		Bias, SD     float64
		Lower, Upper float64
	} `json:"limits_of_agreement"`
	Components struct {
		Missing struct {
			Athlete, Session []int
			Y                []float64
			VarAthlete       float64 `json:"var_athlete"`
			VarSession       float64 `json:"var_session"`
			VarTrial         float64 `json:"var_trial"`
		} `json:"with_missing"`
	} `json:"variance_components"`
	Kappa struct {
		A, B     []float64
		Kappa    float64
		Weighted float64 `json:"weighted_quadratic"`
	}
}

func readReferences(t testing.TB) (out references) {
	t.Helper()
	data, err := os.ReadFile("testdata/statistics.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// manyMeasures is the default protocol with forty and more measures that are read.
func manyMeasures(t testing.TB) *screen.Protocol {
	t.Helper()
	b := strings.Builder{}
	b.WriteString("extends: default\nname: many\nversion: \"1\"\ntitle: many measures\nmeasures:\n")
	for i := range 16 {
		fmt.Fprintf(&b, `  - id: extra_%d
    name: Extra %d
    link: shoulder
    unit: deg
    paired: true
    limb: arm
    worse: lower
    scale: linear
    trials: {planned: 2, most: 10, combine: mean}
    step: 1
    plausible: [-100, 300]
    typical: [-100, 300]
    range_status: assumed
    say: {positive: more, negative: less, zero: none}
    error: {trial: {value: 1.5, status: assumed}, within: {sem: 3, trials: 2, same_session: false, status: assumed}}
`, i, i)
	}
	p, err := screen.LoadProtocol("many.yaml", strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// everything is a retest of every measure of the protocol that is read.
func everything(p *screen.Protocol, athletes, trials int, examiners ...string) []Reading {
	var out []Reading
	for i := range p.Measures {
		m := &p.Measures[i]
		if m.Derived != nil {
			continue
		}
		x := plan{measure: m.ID, athletes: athletes, placings: 2, days: 1, trials: trials, examiners: examiners, mean: 50, athlete: 6, side: 3, placing: 2, trial: 1.5, each: 1}
		if m.Scale == screen.Log {
			x.log, x.mean, x.athlete, x.side, x.placing, x.trial, x.each = true, 4, 0.2, 0.08, 0.06, 0.05, 0.03
		}
		list := x.draw(uint64(i))
		for k := range list {
			switch m.Scale {
			case screen.Category:
				list[k].Trials = []float64{math.Abs(math.Mod(math.Trunc(list[k].Trials[0]), 3))}
			case screen.Count:
				list[k].Trials = []float64{math.Abs(math.Trunc(list[k].Trials[0] / 10))}
			}
			if !m.Paired {
				list[k].Side = screen.NoSide
			}
		}
		out = append(out, list...)
	}
	return out
}

// shuffled is the readings in another order, those of one athlete, measure, side and day kept as they
// follow each other.
func shuffled(list []Reading, rng *rand.Rand) []Reading {
	key := func(r *Reading) string {
		return fmt.Sprint(r.Athlete, "|", r.Measure, "|", r.Side, "|", r.Occasion)
	}
	groups := map[string][]Reading{}
	var keys []string
	for _, r := range list {
		if k := key(&r); groups[k] == nil {
			keys = append(keys, k)
		}
		groups[key(&r)] = append(groups[key(&r)], r)
	}
	slots := []string{}
	for _, k := range keys {
		for range groups[k] {
			slots = append(slots, k)
		}
	}
	rng.Shuffle(len(slots), func(i, j int) { slots[i], slots[j] = slots[j], slots[i] })
	out := make([]Reading, 0, len(list))
	for _, k := range slots {
		out = append(out, groups[k][0])
		groups[k] = groups[k][1:]
	}
	return slices.Clip(out)
}
