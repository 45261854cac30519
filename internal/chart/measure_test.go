package chart

import (
	"math"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// arc is a finding on the shoulder's total arc: threshold 5°, lower is worse.
func arc(kind string, first, second float64) *score.Finding {
	target := second - 2
	return &score.Finding{Rule: "total_arc_loss", Name: "Loss of total arc", Link: "shoulder", Measure: "shoulder_total_arc",
		RuleKind: screen.SideDifference, Kind: kind, First: first, Second: second, Difference: second - first, SE: 4, Threshold: 5,
		FirstSE: 4 / math.Sqrt2, SecondSE: 4 / math.Sqrt2,
		Unit: "deg", Worse: "left", P: 0.87, Verdict: score.Deficit, Reading: &target,
		Margin: [2]float64{second - first - 6.58, second - first + 6.58}}
}

func TestMeasureDrawsBothSides(t *testing.T) {
	p := protocol(t)
	f := arc("signed", 140, 150)
	rep := &score.Report{Hand: screen.LeftHand, Sides: true, Findings: []score.Finding{*f}}
	c := Measure(f, rep, p)
	o := decode(t, c)
	for i, want := range []struct {
		name  string
		value float64
		color string
	}{{"Throwing (left)", 140, Throwing}, {"Other (right)", 150, Other}} {
		s := series(o, i)
		if s["name"] != want.name || item(s, 0)["value"].(list)[0] != want.value || s["itemStyle"].(obj)["borderColor"] != want.color {
			t.Errorf("series %d: %v", i, s)
		}
		bar := s["markLine"].(obj)["data"].(list)[0].(list)
		lo, hi := bar[0].(obj)["coord"].(list)[0].(float64), bar[1].(obj)["coord"].(list)[0].(float64)
		if h := 1.645 * 4 / math.Sqrt2; math.Abs(want.value-lo-h) > 1e-9 || math.Abs(hi-want.value-h) > 1e-9 {
			t.Errorf("%s: error bar %v to %v, want ± %v", want.name, lo, hi, h)
		}
		if row := c.Table.Rows[i]; row[1] != want.name || row[2] != number(want.value, 1) || row[3] != number(lo, 1) || row[4] != number(hi, 1) {
			t.Errorf("table row %q", row)
		}
	}
	target := series(o, 2)
	if target["symbol"] != "diamond" || target["itemStyle"].(obj)["color"] != "transparent" || item(target, 0)["value"].(list)[0] != 148.0 {
		t.Errorf("target: %v", target)
	}
	area := series(o, 3)["markArea"].(obj)["data"].(list)[0].(list)
	if from := area[0].(obj)["xAxis"]; from != 145.0 {
		t.Errorf("the threshold's band begins at %v, want 145", from)
	}
	want := "Shoulder total arc: throwing (left) 140°, other (right) 150°; difference 10° (give or take 8°); threshold 5°; deficit, 87 in 100."
	if c.Summary != want {
		t.Errorf("summary %q", c.Summary)
	}
}

// Limits by hand: 150 − 5 and 150 + 5; 10 % below 40 and 40/0.9.
func TestLimits(t *testing.T) {
	p := protocol(t)
	percent := arc("absolute", 30, 40)
	percent.Measure, percent.RuleKind, percent.Threshold = "grip_strength", screen.SidePercent, 10
	gain := arc("signed", 152, 150)
	gain.Threshold = -5
	higher := arc("signed", 90, 80)
	higher.Measure = "scapula_distance_rest"
	for _, row := range []struct {
		name string
		f    *score.Finding
		want []float64
	}{
		{"signed", arc("signed", 140, 150), []float64{145}},
		{"absolute", arc("absolute", 140, 150), []float64{145, 155}},
		{"percent", percent, []float64{36, 40 / 0.9}},
		{"a gain asked for", gain, []float64{155}},
		{"higher is worse", higher, []float64{85}},
	} {
		pn, ok := panelOf(row.f, &score.Report{Hand: screen.RightHand, Sides: true}, p)
		if !ok || len(pn.limits) != len(row.want) {
			t.Fatalf("%s: %v, limits %v", row.name, ok, pn.limits)
		}
		for i, want := range row.want {
			if math.Abs(pn.limits[i]-want) > 1e-9 {
				t.Errorf("%s: limits %v, want %v", row.name, pn.limits, row.want)
			}
		}
	}
}

func TestMeasureOfComparedSides(t *testing.T) {
	p := protocol(t)
	rep := thrower(t, screen.BothHands, 3, nil)
	for i := range rep.Findings {
		f := &rep.Findings[i]
		if !twoSided(f) {
			continue
		}
		o := decode(t, Measure(f, rep, p))
		a, b := series(o, 0), series(o, 1)
		if a["name"] != "Right" || b["name"] != "Left" || item(a, 0)["value"].(list)[0] != f.First || item(b, 0)["value"].(list)[0] != f.Second {
			t.Errorf("%s: %v and %v", f.Rule, a, b)
		}
		if len(series(o, 3)["markLine"].(obj)["data"].(list)) != 2 {
			t.Errorf("%s: an absolute rule has two limits", f.Rule)
		}
	}
}

// Lead leg: opposite to the throwing hand, so it has the other side's colour.
func TestMeasureOfLegs(t *testing.T) {
	p := protocol(t)
	rep := thrower(t, screen.LeftHand, 3, nil)
	for i := range rep.Findings {
		f := &rep.Findings[i]
		if f.Rule != "lunge_angle_difference" {
			continue
		}
		s := series(decode(t, Measure(f, rep, p)), 0)
		if s["name"] != "Lead leg (right)" || s["itemStyle"].(obj)["borderColor"] != Other || item(s, 0)["value"].(list)[0] != f.First {
			t.Errorf("lead leg: %v", s)
		}
		return
	}
	t.Error("the lunge was not scored")
}

func TestSidesHasAPanelAMeasure(t *testing.T) {
	p := protocol(t)
	rep := thrower(t, screen.RightHand, 3, nil)
	c := Sides(rep, "shoulder", p)
	o := decode(t, c)
	measures := map[string]bool{}
	for i := range rep.Findings {
		if f := &rep.Findings[i]; f.Link == "shoulder" && p.Measure(f.Measure) != nil && f.RuleKind != screen.AllOf {
			measures[f.Measure] = true
		}
	}
	if n := len(o["grid"].(list)); n != len(measures) || len(o["xAxis"].(list)) != n || len(o["title"].(list)) != n {
		t.Errorf("%d panels for %d measures", n, len(measures))
	}
	plotted := 0
	for _, s := range o["series"].(list) {
		name, data := s.(obj)["name"].(string), s.(obj)["data"]
		if !strings.Contains(name, "(") {
			continue
		}
		v := data.(list)[0].(obj)["value"].(list)[0].(float64)
		found := false
		for _, row := range c.Table.Rows {
			found = found || row[1] == name && (row[2] == number(v, 1) || row[2] == number(v, 2) || row[2] == number(v, 3))
		}
		if !found {
			t.Errorf("%s %v is drawn, but not in the table", name, v)
		}
		plotted++
	}
	if plotted == 0 {
		t.Error("nothing drawn")
	}
}
