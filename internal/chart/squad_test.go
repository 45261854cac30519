package chart

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func TestDistributionIsSortedAndMarksTheAthlete(t *testing.T) {
	p := protocol(t)
	five := 5.0
	values := []SquadValue{
		{Athlete: "a", Label: "Ann", Value: 9, SE: 2, Threshold: &five, Verdict: score.Deficit},
		{Athlete: "b", Label: "Bo", Value: -1, SE: 0, Threshold: &five, Verdict: score.Clear},
		{Athlete: "c", Label: "Cy", Value: math.NaN(), SE: 2, Threshold: &five},
		{Athlete: "d", Label: "Di", Value: 4, SE: 2, Threshold: &five, Verdict: score.Unsettled},
	}
	c := Distribution(p.Measure("shoulder_total_arc"), values, "d")
	o := decode(t, c)
	squad, marked := series(o, 0)["data"].(list), series(o, 1)["data"].(list)
	if len(squad) != 2 || len(marked) != 1 {
		t.Fatalf("%d and %d points", len(squad), len(marked))
	}
	at := func(d any) [2]float64 {
		v := d.(obj)["value"].(list)
		return [2]float64{v[0].(float64), v[1].(float64)}
	}
	if at(squad[0]) != [2]float64{1, -1} || at(squad[1]) != [2]float64{3, 9} || at(marked[0]) != [2]float64{2, 4} {
		t.Errorf("points %v %v %v", at(squad[0]), at(squad[1]), at(marked[0]))
	}
	if lines := series(o, 0)["markLine"].(obj)["data"].(list); len(lines) != 1 {
		t.Errorf("%d error bars in the squad, want 1: one error is not known", len(lines))
	}
	limit := series(o, 2)["markLine"].(obj)["data"].(list)
	if len(limit) != 1 || limit[0].(obj)["yAxis"] != 5.0 {
		t.Errorf("threshold %v", limit)
	}
	want := [][]string{
		{"Bo", "–", "−1.0", "–", "–", "5.0"}, {"Di (marked)", "–", "4.0", "0.7", "7.3", "5.0"},
		{"Ann", "–", "9.0", "5.7", "12.3", "5.0"}, {"Cy", "–", "–", "–", "–", "5.0"},
	}
	if !slices.EqualFunc(c.Table.Rows, want, slices.Equal[[]string]) {
		t.Errorf("table %q", c.Table.Rows)
	}
}

func TestDistributionOfDifferingThresholds(t *testing.T) {
	p := protocol(t)
	young, old := 13.0, 20.0
	values := []SquadValue{{Athlete: "a", Value: 1, Threshold: &young}, {Athlete: "b", Value: 2, Threshold: &old, Absolute: true}}
	s := series(decode(t, Distribution(p.Measure("shoulder_internal_rotation"), values, "a")), 2)
	if n := len(s["data"].(list)); n != 3 || len(s["markLine"].(obj)["data"].(list)) != 0 {
		t.Errorf("%d strokes, want one for a and two for b, and no common line", n)
	}
}

func TestSquadValuesAreTheReports(t *testing.T) {
	rep := thrower(t, screen.BothHands, 3, nil)
	rows := []HeatRow{{Athlete: "a", Label: "A", Report: rep}, {Athlete: "b", Label: "B"}}
	for i := range rep.Findings {
		f := &rep.Findings[i]
		got := SquadValues(rows, f.Rule)
		if !slices.ContainsFunc(got, func(v SquadValue) bool { return v.Value == f.Difference && v.SE == f.SE && v.Side == f.Side }) {
			t.Errorf("%s: %v", f.Rule, got)
		}
	}
}

func TestHeatDrawsTheReportsNumbers(t *testing.T) {
	p := protocol(t)
	var rows []HeatRow
	for i := range 12 {
		rep := thrower(t, screen.RightHand, int64(i), func(m *screen.Measure) bool { return i%3 == 0 && m.Link == "hip" })
		rows = append(rows, HeatRow{Athlete: fmt.Sprint(i), Label: fmt.Sprint("Athlete ", 12-i), Report: rep})
	}
	rows = append(rows, HeatRow{Label: "Not screened"})
	c := Heat(rows, p)
	o := decode(t, c)
	drawn := map[[2]int]float64{}
	for _, d := range series(o, 0)["data"].(list) {
		v := d.(obj)["value"].(list)
		drawn[[2]int{int(v[1].(float64)), int(v[0].(float64))}] = v[2].(float64)
	}
	empty := len(series(o, 1)["data"].(list))
	if len(drawn)+empty != len(rows)*len(p.Links) {
		t.Errorf("%d cells and %d dashes", len(drawn), empty)
	}
	for i, row := range c.Table.Rows {
		if row[0] != rows[i].Label || o["yAxis"].(obj)["data"].(list)[i] != rows[i].Label {
			t.Errorf("row %d is %q", i, row[0])
		}
		for k := range p.Links {
			var want *score.LinkResult
			if rows[i].Report != nil {
				want = link(rows[i].Report, p.Links[k].ID)
			}
			got, ok := drawn[[2]int{i, k}]
			if measured := want != nil && want.P != nil; ok != measured || measured && got != 100**want.P {
				t.Errorf("%s, %s: drawn %v %v", row[0], p.Links[k].ID, got, ok)
			}
			if !ok && row[k+1] != "not measured" || ok && row[k+1][:4] != score.OutOf100(got / 100)[:4] {
				t.Errorf("%s, %s: table %q", row[0], p.Links[k].ID, row[k+1])
			}
		}
	}
}

// Contrast of the number in a cell, by the relative luminance of WCAG 2: at least 4.5 on every shade.
func TestNumbersCanBeReadOnEveryShade(t *testing.T) {
	luminance := func(alpha float64) float64 {
		sum := 0.0
		for i, w := range []float64{0.2126, 0.7152, 0.0722} {
			ink := []float64{0x1b, 0x1f, 0x24}[i]
			c := (255 - alpha*(255-ink)) / 255
			sum += w * math.Pow((c+0.055)/1.055, 2.4)
		}
		return sum
	}
	for _, s := range shades {
		text := luminance(1)
		if s.from >= lightTextFrom {
			text = 1
		}
		a, b := max(text, luminance(s.opacity))+0.05, min(text, luminance(s.opacity))+0.05
		if a/b < 4.5 {
			t.Errorf("from %v: contrast %.1f", s.from, a/b)
		}
	}
}
