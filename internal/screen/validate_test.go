package screen

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func goodReading() Reading {
	return Reading{ID: "r1", Measure: "shoulder_internal_rotation", Side: Left, Trials: []float64{41, 43}, Examiner: "k"}
}

func TestBadReadings(t *testing.T) {
	p := defaultProtocol(t)
	if f := p.CheckReading(new(goodReading()), ""); len(f) > 0 {
		t.Fatalf("a sound reading is refused: %v", f)
	}
	for _, c := range []struct {
		name   string
		change func(*Reading)
		where  string
		says   string
	}{
		{"outside the plausible range", func(r *Reading) { r.Trials[1] = 121 }, "trials[1]", "outside the plausible range"},
		{"no side", func(r *Reading) { r.Side = NoSide }, "side", `"none"`},
		{"empty side", func(r *Reading) { r.Side = "" }, "side", `""`},
		{"unknown measure", func(r *Reading) { r.Measure = "shoulder_internl_rotation" }, "measure", `did you mean "shoulder_internal_rotation"`},
		{"no trials", func(r *Reading) { r.Trials = nil }, "trials", "0 trials"},
		{"200 trials", func(r *Reading) { r.Trials = make([]float64, 200) }, "trials", "200 trials"},
		{"NaN", func(r *Reading) { r.Trials[0] = math.NaN() }, "trials[0]", "finite"},
		{"infinity", func(r *Reading) { r.Trials[0] = math.Inf(-1) }, "trials[0]", "finite"},
		{"a derived measure", func(r *Reading) { r.Measure = "shoulder_total_arc" }, "measure", "computed, not read"},
		{"an empty id", func(r *Reading) { r.ID = "" }, "id", "not an id"},
		{"an id with spaces", func(r *Reading) { r.ID = "a b" }, "id", "not an id"},
		{"a half count", func(r *Reading) { r.Measure, r.Trials = "stance_errors", []float64{2.5} }, "trials[0]", "not a count"},
		{"a category that is none", func(r *Reading) { r.Measure, r.Trials = "scapula_rating", []float64{3} }, "trials[0]", "no category"},
		{"a negative step", func(r *Reading) { r.Step = -1 }, "step", "step"},
		{"a control character", func(r *Reading) { r.Examiner = "k\x00" }, "examiner", "control"},
		{"a long name", func(r *Reading) { r.Examiner = strings.Repeat("x", 300) }, "examiner", "300 characters"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := goodReading()
			c.change(&r)
			f := p.CheckReading(&r, "readings[3]")
			if len(f) == 0 {
				t.Fatal("accepted")
			}
			if f[0].Where != "readings[3]."+c.where || !strings.Contains(f[0].String(), c.says) || f[0].Want == "" {
				t.Errorf("%+v", f[0])
			}
		})
	}
}

func TestNearest(t *testing.T) {
	words := []string{"id", "kind", "on", "athlete", "readings"}
	for typed, want := range map[string]string{"knid": "kind", "kid": "id", "athlet": "athlete", "redings": "readings", "zzzzzzzz": "", "": ""} {
		if got := Nearest(typed, words); got != want {
			t.Errorf("%q: %q, want %q", typed, got, want)
		}
	}
	for _, c := range []struct {
		a, b string
		d    int
	}{{"kitten", "sitting", 3}, {"ab", "ba", 1}, {"abc", "abc", 0}, {"", "abc", 3}} { // the textbook example of Levenshtein's distance, and an exchange
		if got := editDistance(c.a, c.b, 10); got != c.d {
			t.Errorf("%q to %q: %d, want %d", c.a, c.b, got, c.d)
		}
	}
}

func TestUnpairedMeasureTakesNoSide(t *testing.T) {
	p, err := LoadProtocol("t.yaml", strings.NewReader(strings.Replace(strings.Split(tiny, "rules:")[0], "paired: true", "paired: false", 1)))
	if err != nil {
		t.Fatal(err)
	}
	r := Reading{ID: "r", Measure: "turn", Side: Left, Trials: []float64{4}}
	if f := p.CheckReading(&r, ""); len(f) != 1 || f[0].Where != "side" || !strings.Contains(f[0].Problem, "has no side") {
		t.Errorf("%v", f)
	}
	r.Side = NoSide
	if f := p.CheckReading(&r, ""); len(f) != 0 {
		t.Errorf("%v", f)
	}
}

// Some write a loss of extension as a plain number, others as a negative one.
func TestSignWords(t *testing.T) {
	m := defaultProtocol(t).Measure("elbow_extension")
	for _, c := range []struct {
		word   string
		in     float64
		want   float64
		refuse bool
	}{
		{"", 5, 0, true}, {"", 0, 0, false}, {"", -5, -5, false},
		{"loss", 5, -5, false}, {"loss", -5, -5, false}, {"hyperextension", 5, 5, false},
		{"hyperextension", -5, 0, true}, {AsWritten, 5, 5, false}, {AsWritten, -5, -5, false}, {"los", 5, 0, true},
	} {
		got, f := m.ApplySign([]float64{c.in}, c.word, "x")
		if (len(f) > 0) != c.refuse || !c.refuse && got[0] != c.want {
			t.Errorf("%q %g: %v, %v", c.word, c.in, got, f)
		}
	}
	plain := defaultProtocol(t).Measure("elbow_flexion")
	if _, f := plain.ApplySign([]float64{5}, "loss", ""); len(f) == 0 {
		t.Error("a sign word is accepted where there is none")
	}
}

func TestBadAthletes(t *testing.T) {
	p := defaultProtocol(t)
	good := func() Athlete {
		return Athlete{ID: "a", Name: "A", Born: "2011-04-02", Sex: Male, Sport: "baseball", Level: School, Hands: []HandSince{{Hand: LeftHand}}}
	}
	a := good()
	if f := p.CheckAthlete(&a, "2026-02-10", ""); len(f) > 0 {
		t.Fatal(f)
	}
	for _, c := range []struct {
		name   string
		change func(*Athlete)
		where  string
		says   string
	}{
		{"born in the future", func(a *Athlete) { a.Born = "2026-02-11" }, "born", "in the future"},
		{"140 years old", func(a *Athlete) { a.Born = "1886-02-10" }, "born", "140 years old"},
		{"101 years old", func(a *Athlete) { a.Born = "1925-01-01" }, "born", "101 years"},
		{"no such day", func(a *Athlete) { a.Born = "2011-02-30" }, "born", "not a day"},
		{"no birth date", func(a *Athlete) { a.Born = "" }, "born", "missing"},
		{"no hand", func(a *Athlete) { a.Hands = nil }, "throws", "missing"},
		{"no such hand", func(a *Athlete) { a.Hands[0].Hand = "up" }, "throws", `"up"`},
		{"two hands from one day", func(a *Athlete) { a.Hands = append(a.Hands, HandSince{Hand: RightHand}) }, "throws", "same day"},
		{"sport", func(a *Athlete) { a.Sport = "chess" }, "sport", "chess"},
		{"level", func(a *Athlete) { a.Level = "pro" }, "level", "pro"},
		{"sex", func(a *Athlete) { a.Sex = "" }, "sex", "sex"},
		{"height in metres", func(a *Athlete) { a.HeightCM = 1.7 }, "height_cm", "out of range"},
		{"no name", func(a *Athlete) { a.Name = " " }, "name", "missing"},
	} {
		a := good()
		c.change(&a)
		f := p.CheckAthlete(&a, "2026-02-10", "")
		if len(f) == 0 || f[0].Where != c.where || !strings.Contains(f[0].Problem, c.says) {
			t.Errorf("%s: %v", c.name, f)
		}
	}
}

func TestBadScreens(t *testing.T) {
	a := Athlete{ID: "a", Born: "2011-04-02"}
	for on, says := range map[Date]string{"2011-04-01": "before the athlete's birth", "2026-02-13": "in the future", "2026-13-01": "not a day"} {
		f := CheckScreen(&Screen{ID: "s", Athlete: "a", On: on, Kind: Preseason}, &a, "2026-02-10", "")
		if len(f) != 1 || f[0].Where != "on" || !strings.Contains(f[0].Problem, says) {
			t.Errorf("%s: %v", on, f)
		}
	}
	if f := CheckScreen(&Screen{ID: "s", On: "2026-02-10", Kind: "offseason"}, &a, "2026-02-10", ""); len(f) != 1 || f[0].Where != "kind" {
		t.Errorf("%v", f)
	}
}

func TestHandOn(t *testing.T) {
	a := Athlete{Hands: []HandSince{{RightHand, "2024-05-01"}, {LeftHand, ""}, {BothHands, "2025-01-01"}}}
	for on, want := range map[Date]Hand{"2020-01-01": LeftHand, "2024-04-30": LeftHand, "2024-05-01": RightHand, "2025-06-01": BothHands} {
		if got := a.HandOn(on); got != want {
			t.Errorf("%s: %s, want %s", on, got, want)
		}
	}
	late := Athlete{Hands: []HandSince{{RightHand, "2024-05-01"}}}
	if late.HandOn("2020-01-01") != RightHand || (&Athlete{}).HandOn("2020-01-01") != "" {
		t.Error("the first known hand holds before its day")
	}
}

// Ages switch on the birthday, also for those born on a leap day.
func TestYearsTo(t *testing.T) {
	for _, c := range []struct {
		born, on Date
		whole    float64
	}{{"2007-02-10", "2026-02-10", 19}, {"2007-02-11", "2026-02-10", 18}, {"2008-02-29", "2026-02-28", 17}, {"2008-02-29", "2026-03-01", 18}} {
		if got := math.Floor(c.born.YearsTo(c.on)); got != c.whole {
			t.Errorf("born %s, on %s: %g years", c.born, c.on, got)
		}
	}
}

func record(hand Hand, readings ...Reading) *Record {
	return &Record{Screen: Screen{ID: "s", On: "2026-02-10"}, Athlete: Athlete{Hands: []HandSince{{Hand: hand}}}, Readings: readings}
}

func rotation(measure string, side Side, trials ...float64) Reading {
	return Reading{ID: measure + string(side), Measure: measure, Side: side, Trials: trials}
}

func kinds(list []Question) (out []string) {
	for _, q := range list {
		out = append(out, q.Kind)
	}
	return out
}

func TestQuestions(t *testing.T) {
	p := defaultProtocol(t)
	ir, er := "shoulder_internal_rotation", "shoulder_external_rotation"
	last := record(RightHand, rotation(ir, Left, 59), rotation(ir, Right, 52))
	for _, c := range []struct {
		name string
		rec  *Record
		last *Record
		want []string
	}{
		{"nothing odd", record(RightHand, rotation(ir, Left, 58, 60), rotation(ir, Right, 50, 52)), last, nil},
		{"85 for 58", record(RightHand, rotation(ir, Left, 85), rotation(ir, Right, 52)), last, []string{"unusual", "digits_swapped"}},
		{"53 against 35, either may be meant", record(RightHand, rotation("hip_internal_rotation", Left, 53), rotation("hip_internal_rotation", Right, 35)), nil, []string{"digits_swapped", "digits_swapped"}},
		{"one trial of three", record(RightHand, rotation(ir, Left, 58, 85, 60)), nil, []string{"unusual", "trials_apart", "digits_swapped"}},
		{"trials apart", record(RightHand, rotation(ir, Left, 44, 60)), nil, []string{"trials_apart"}},
		{"the other hand", record(RightHand, rotation(ir, Left, 45), rotation(ir, Right, 60), rotation(er, Left, 115), rotation(er, Right, 100)), nil, []string{"other_hand"}},
		{"the usual way round", record(LeftHand, rotation(ir, Left, 45), rotation(ir, Right, 60), rotation(er, Left, 115), rotation(er, Right, 100)), nil, nil},
		{"a switch thrower", record(BothHands, rotation(ir, Left, 45), rotation(ir, Right, 60), rotation(er, Left, 115), rotation(er, Right, 100)), nil, nil},
	} {
		if got := kinds(p.Questions(c.rec, c.last)); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
