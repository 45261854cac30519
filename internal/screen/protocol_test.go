package screen

import (
	"math"
	"strings"
	"testing"
)

func defaultProtocol(t testing.TB) *Protocol {
	t.Helper()
	p, err := Default()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestDefaultProtocolLoads(t *testing.T) {
	p := defaultProtocol(t)
	for _, id := range strings.Fields(`shoulder_internal_rotation shoulder_external_rotation shoulder_total_arc
		shoulder_flexion shoulder_horizontal_adduction shoulder_external_rotation_strength
		shoulder_internal_rotation_strength elbow_extension elbow_flexion elbow_carrying_angle forearm_pronation
		forearm_supination grip_strength scapula_distance_rest scapula_distance_hands_on_hips
		scapula_distance_abducted scapula_rating trunk_rotation hip_internal_rotation hip_external_rotation
		hip_total_arc stance_errors stance_time_eyes_closed reach_anterior reach_posteromedial
		reach_posterolateral reach_composite limb_length lunge_distance lunge_angle`) {
		if p.Measure(id) == nil {
			t.Errorf("the default protocol lacks %s", id)
		}
	}
	if len(p.Hash) != 64 {
		t.Errorf("hash is %q", p.Hash)
	}
	again, err := LoadProtocol("again", strings.NewReader("extends: default\nname: evenhand-default\nversion: "+p.Version+"\ntitle: "+`"`+p.Title+`"`+"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if again.Measures[0].ID != p.Measures[0].ID || len(again.Rules) != len(p.Rules) {
		t.Error("extending by nothing changed the protocol")
	}
}

// Conversions between the standard error of measurement and the minimal detectable change, as papers
// print both. Tolerance: the last digit that the paper prints.
func TestPublishedErrorPairs(t *testing.T) {
	for _, c := range []struct {
		source    string
		got, want float64
		tol       float64
	}{
		{"Munro AG, Herrington LC. Phys Ther Sport 2010;11:128-132: SEM 2.21 %, smallest detectable difference 6.13 %", MDC95(2.21), 6.13, 0.005},
		{"same: SEM 2.94 %, 8.15 %", MDC95(2.94), 8.15, 0.005},
		{"Johnson KD et al. J Athl Train 2012;47:52-60: SEM 1.0°, MDC 2.8° between examiners", MDC95(1.0), 2.8, 0.05},
		{"same: SEM 2.3°, MDC 6.3°", MDC95(2.3), 6.3, 0.1},
		{"same: between days SEM 1.4°, MDC 3.9°", MDC95(1.4), 3.9, 0.05},
		{"same: between days SEM 2.0°, MDC 5.6°", MDC95(2.0), 5.6, 0.06},
		{"Munro and Herrington, backwards", SEMFromMDC95(6.13), 2.21, 0.005},
		{"R7, Phys Ther Sport 2016;21:75-81: SEM 4.8 %, MDC 13.3 %", MDC95(4.8), 13.3, 0.05},
		{"same: SEM 8.6 %, MDC 23.7 %", MDC95(8.6), 23.7, 0.15},
		{"Bullock GS et al. J Sports Med Phys Fitness 2020: hip internal rotation SEM 2.2°, difference 5.1° (at 90 %)", 2.2 * 1.645 * math.Sqrt2, 5.1, 0.05},
		{"same: external rotation SEM 3.2°, difference 7.5°", 3.2 * 1.645 * math.Sqrt2, 7.5, 0.1},
		{"Kolber MJ et al. Physiother Theory Pract 2009;25:572-581: MDC90 4° is SEM 1.7°", SEMFromMDC90(4), 1.7, 0.05},
		{"same: MDC90 5° is SEM 2.2° (2.15)", SEMFromMDC90(5), 2.15, 0.05},
		{"same: MDC90 8° is SEM 3.4°", SEMFromMDC90(8), 3.4, 0.05},
		{"Weir JP. J Strength Cond Res 2005;19:231-240: MDC95 = 2.7719 SEM", MDC95(1), 2.7719, 0.00006},
		{"Shrout and Fleiss table: SEM 1.0097, MDC95 2.7987", MDC95(1.0097), 2.7987, 0.0002},
		{"Jacobson NS, Truax P. 1991: S_E 3.354102, S_diff 4.743416", math.Sqrt2 * 3.354102, 4.743416, 1e-6},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s: got %.4f", c.source, c.got)
		}
	}
}

// The components of an error, worked out by hand from scoring's rules: SEM² = σ_w²/k₀ + σ_p² + σ_d².
func TestErrorComponents(t *testing.T) {
	spec := ErrorSpec{
		Trial:    &Figure{Value: 2},
		Within:   &PublishedError{SEM: 3, Trials: 4},
		Between:  &PublishedError{SEM: 5, Trials: 4},
		Transfer: 1,
	}
	e := spec.resolve(Linear, nil)
	if got := math.Hypot(math.Hypot(e.Placing, e.Day), e.Trial/2); math.Abs(got-3) > 1e-12 {
		t.Errorf("components of the error within add up to %g, want 3", got)
	}
	if math.Abs(e.Placing-e.Day) > 1e-12 || e.LowerBound {
		t.Error("placing and day must halve an error between days")
	}
	if math.Abs(e.Examiner-4) > 1e-12 {
		t.Errorf("another examiner adds %g, want 4", e.Examiner)
	}
	spec.Within.SameSession, spec.Transfer = true, 0
	s := spec.resolve(Linear, nil)
	if s.Day != 0 || !s.LowerBound || math.Abs(s.Placing-1.25*math.Sqrt(8)) > 1e-12 {
		t.Errorf("same session: %+v", s)
	}
	if e.Trial != s.Trial {
		t.Error("the transfer factor must not touch the trials")
	}
}

const tiny = `
name: tiny
version: "1"
title: a test
cutoffs: {deficit: 0.8, clear: 0.2, status: assumed}
cautions: [A screen is not a diagnosis.]
links: [{id: hip, name: Hip}]
measures:
  - id: turn
    name: Turn
    link: hip
    unit: deg
    paired: true
    limb: leg
    worse: lower
    plausible: [0, 90]
    range_status: common_practice
    error:
      trial: {value: 1, status: assumed}
      within: {sem: 2, trials: 1, status: assumed}
rules:
  - id: turn_difference
    name: Turn, difference
    link: hip
    kind: side_difference
    measure: turn
    thresholds: [{value: 10, unit: deg, status: common_practice}]
    counted: true
`

func TestProtocolFaultsAreLocated(t *testing.T) {
	if _, err := LoadProtocol("tiny.yaml", strings.NewReader(tiny)); err != nil {
		t.Fatalf("the sound protocol is refused: %v", err)
	}
	for _, c := range []struct{ name, old, new, where, says string }{
		{"threshold without a unit", "value: 10, unit: deg", "value: 10", "tiny.yaml:27", "without a unit"},
		{"threshold in another unit", "unit: deg, status: common", "unit: cm, status: common", "tiny.yaml:27", `"cm"`},
		{"typo in a key", "plausible:", "plausibel:", "tiny.yaml:16", `did you mean "plausible"`},
		{"typo in a nested key", "trial: {value", "trial: {valeu", "tiny.yaml:19", `did you mean "value"`},
		{"unknown measure", "measure: turn", "measure: turm", "tiny.yaml:26", `did you mean "turn"`},
		{"unknown link", "link: hip\n    unit", "link: hips\n    unit", "tiny.yaml:11", "unknown link"},
		{"no status", "{value: 1, status: assumed}", "{value: 1}", "tiny.yaml:19", "status"},
		{"two errors at once", "sem: 2,", "sem: 2, mdc90: 4,", "tiny.yaml:20", "exactly one"},
		{"seen without a source", "unit: deg, status: common_practice", "unit: deg, status: seen", "tiny.yaml:27", "source"},
		{"text for a number", "value: 10", "value: ten", "tiny.yaml", "ten"},
		{"negative absolute threshold", "value: 10", "value: -10", "tiny.yaml:27", "absolute rule"},
		{"wrong cut-offs", "deficit: 0.8", "deficit: 0.3", "tiny.yaml:5", "cut-offs"},
		{"an alias", "cautions: [A screen is not a diagnosis.]", "cautions: &a [x]", "tiny.yaml:6", "anchors"},
		{"a condition on an unknown sport", "{value: 10,", "{when: {sports: [basebal]}, value: 10,", "tiny.yaml:27", "unknown sport"},
		{"a condition on an unknown level", "{value: 10,", "{when: {levels: [pro]}, value: 10,", "tiny.yaml:27", "unknown level"},
		{"ages that nobody has", "{value: 10,", "{when: {age_from: 19, age_below: 13}, value: 10,", "tiny.yaml:27", "below 13"},
		{"not YAML", "name: tiny", "name: [", "tiny.yaml", ""},
		{"an id twice", "rules:", "  - {id: turn, name: Again, link: hip, unit: deg}\nrules:", "tiny.yaml", "twice"},
		{"an extension of nothing", "name: tiny", "extends: other\nname: tiny", "tiny.yaml:2", "cannot extend"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(tiny, c.old) {
				t.Fatalf("the test's own protocol lacks %q", c.old)
			}
			_, err := LoadProtocol("tiny.yaml", strings.NewReader(strings.Replace(tiny, c.old, c.new, 1)))
			if err == nil {
				t.Fatal("accepted")
			}
			if msg := err.Error(); !strings.Contains(msg, c.where) || !strings.Contains(msg, c.says) {
				t.Errorf("says %q, want %q and %q", msg, c.where, c.says)
			}
		})
	}
}

func TestProtocolCycle(t *testing.T) {
	const more = `
  - {id: a, name: A, link: hip, unit: deg, paired: true, limb: leg, worse: lower, derived: {sum: {b: 1, turn: 1}}}
  - {id: b, name: B, link: hip, unit: deg, paired: true, limb: leg, worse: lower, derived: {sum: {a: 1, turn: 1}}}
rules:`
	_, err := LoadProtocol("tiny.yaml", strings.NewReader(strings.Replace(tiny, "\nrules:", more, 1)))
	if err == nil || !strings.Contains(err.Error(), "a → b → a") || !strings.Contains(err.Error(), "tiny.yaml:2") {
		t.Errorf("got %v", err)
	}
}

func TestExtendReplacesAndRemoves(t *testing.T) {
	p := defaultProtocol(t)
	file := `
extends: default
name: ours
version: "2"
title: a stricter elbow
remove: [lunge_angle_difference]
rules:
  - id: elbow_extension_loss
    name: Elbow extension, loss
    link: elbow
    kind: side_difference
    measure: elbow_extension
    signed: true
    thresholds: [{value: 8, unit: deg, status: common_practice}]
    counted: true
    core: true
sports:
  - {id: gymnastics, name: Gymnastics, throws: false, arms_bear_weight: true, profile: weight_bearing}
`
	q, err := LoadProtocol("ours.yaml", strings.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	if q.Rule("elbow_extension_loss").Thresholds[0].Value != 8 || q.Rule("lunge_angle_difference") != nil || q.Sport("gymnastics") == nil {
		t.Error("the extension did not take effect")
	}
	if len(q.Rules) != len(p.Rules)-1 || q.Hash == p.Hash || p.Rule("elbow_extension_loss").Thresholds[0].Value == 8 {
		t.Error("the shipped protocol must stay as it is, and the hash must differ")
	}
}

func FuzzLoadProtocol(f *testing.F) {
	f.Add([]byte(tiny))
	f.Add([]byte("extends: default\nname: x\nversion: '1'\n"))
	f.Add([]byte("a: &a [*a]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := LoadProtocol("fuzz.yaml", strings.NewReader(string(data)))
		if (p == nil) == (err == nil) {
			t.Errorf("protocol %v with error %v", p != nil, err)
		}
	})
}
