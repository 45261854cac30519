package chart

import (
	"math"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/stat"
	"evenhand/internal/study"
)

// Peak expiratory flow by two meters, the first reading of each (Bland JM, Altman DG. Lancet
// 1986;1:307-310, table 1). The paper has a mean difference of −2.1, an SD of 38.8 and limits of −79.7
// and 75.5 l/min.
var (
	wright = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	mini   = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
)

// flow is that example as the study of a measure, the pairs by the same and by another examiner in turn.
func flow(t testing.TB) *study.Measure {
	t.Helper()
	l, err := stat.LimitsOfAgreement(wright, mini)
	if err != nil {
		t.Fatal(err)
	}
	m := &study.Measure{Measure: "flow", Name: "Flow", Unit: "l/min", Scale: "linear", Limits: &study.Limits{Limits: l, Words: "words"}}
	for i := range wright {
		m.Limits.Points = append(m.Limits.Points, study.Point{Mean: (wright[i] + mini[i]) / 2, Difference: wright[i] - mini[i], Same: i%2 == 0})
	}
	return m
}

// biased has examiners in the order of their names, of whom the last differs.
func biased(t testing.TB) *study.Measure {
	m := flow(t)
	m.Bias = []study.Bias{{Examiner: "A {b}", Readings: 9, Value: -2, Lo: -11.4, Hi: 7.4}, {Examiner: "", Readings: 8, Value: 0.5, Lo: -8, Hi: 9}, {Examiner: "Z", Readings: 17, Value: -30, Lo: -41, Hi: -19}}
	return m
}

// odd are the studies of a measure that a chart must stand.
func odd(t testing.TB) map[string]*study.Measure {
	nan, inf := math.NaN(), math.Inf(1)
	same := stat.Limits{N: 3, Bias: 1, BiasLo: 1, BiasHi: 1, Lower: 1, LowerLo: 1, LowerHi: 1, Upper: 1, UpperLo: 1, UpperHi: 1}
	two, err := stat.LimitsOfAgreement([]float64{40, 50}, []float64{41, 44})
	if err != nil {
		t.Fatal(err)
	}
	return map[string]*study.Measure{
		"nothing":   {Name: "Nothing", Unit: "deg"},
		"alike":     {Name: "Alike", Unit: "deg", Limits: &study.Limits{Limits: same, Points: []study.Point{{Mean: 5, Difference: 1, Same: true}, {Mean: 5, Difference: 1}}}},
		"two":       {Name: "Two", Unit: "deg", Limits: &study.Limits{Limits: two, Points: []study.Point{{Mean: 40.5, Difference: -1}, {Mean: 47, Difference: 6}}}},
		"no points": {Name: "No points", Unit: "s", Scale: "log", Limits: &study.Limits{Limits: two}},
		"no number": {Name: "No number", Unit: "deg", Limits: &study.Limits{Limits: stat.Limits{Bias: nan, Upper: inf}, Points: []study.Point{{Mean: nan, Difference: 1}, {Mean: 2, Difference: 1}}},
			Bias: []study.Bias{{Examiner: "a", Value: nan}, {Examiner: "b", Lo: -inf, Hi: inf}, {Examiner: "c", Value: 0, Lo: 0, Hi: 0}}},
		"flow": flow(t), "biased": biased(t),
	}
}

// agreements are the charts of these, for the tests of all charts.
func agreements(t testing.TB) map[string]Chart {
	out := map[string]Chart{}
	for name, m := range odd(t) {
		out["agreement "+name], out["examiners "+name] = Agreement(m), Examiners(m)
	}
	return out
}

func TestAgreementOfBlandAndAltman(t *testing.T) {
	c := Agreement(flow(t))
	want := "Flow: 17 pairs of readings, 9 by the same examiner; second less first is −2 l/min on average (−22 l/min to 18 l/min); 95 of 100 such pairs are expected between −78 l/min and 74 l/min."
	if got := c.Summary; got != want {
		t.Errorf("summary %q", got)
	}
	o := decode(t, c)
	marks := series(o, 0)["markLine"].(obj)["data"].(list)
	for i, want := range []float64{-2.1, 75.5, -79.7} {
		if got := marks[i].(obj)["yAxis"].(float64); math.Abs(got-want) > 2 { // the paper takes 2 SD, not 1.96
			t.Errorf("line %d at %v, want %v", i, got, want)
		}
	}
	if bands := series(o, 0)["markArea"].(obj)["data"].(list); len(bands) != 3 {
		t.Errorf("%d bands", len(bands))
	}
	circles, squares := series(o, 0), series(o, 1)
	if circles["symbol"] != "circle" || squares["symbol"] != "rect" || len(circles["data"].(list)) != 9 || len(squares["data"].(list)) != 8 {
		t.Errorf("%v and %v", circles, squares)
	}
	y := o["yAxis"].(obj)
	if y["min"].(float64) > -79.7 || y["max"].(float64) < 75.5 {
		t.Errorf("the limits are not on the axis: %v to %v", y["min"], y["max"])
	}
	if len(c.Table.Rows) != 3+17 || !slices.Equal(c.Table.Rows[4], []string{"Pair 2, another examiner", "412", "−35", "–", "–"}) {
		t.Errorf("table %q", c.Table.Rows)
	}
}

func TestAgreementOfOddStudies(t *testing.T) {
	for name, want := range map[string]string{"nothing": "no side was read twice", "no points": "no side was read twice", "no number": "no side was read twice",
		"alike": "second less first is 1.0° on average (1.0° to 1.0°).", "two": "2 pairs of readings, 0 by the same examiner"} {
		c := Agreement(odd(t)[name])
		if !strings.Contains(c.Summary, want) {
			t.Errorf("%s: %q", name, c.Summary)
		}
	}
	o := decode(t, Agreement(odd(t)["two"])) // limits of two pairs reach a hundred degrees
	if y := o["yAxis"].(obj); y["max"].(float64) > 40 {
		t.Errorf("the axis reaches %v: nothing could be seen on it", y["max"])
	}
	if marks := series(decode(t, Agreement(odd(t)["alike"])), 0)["markLine"].(obj)["data"].(list); len(marks) != 1 {
		t.Errorf("%d lines where all differences are the same", len(marks))
	}
}

// Differences of a measure in percent have another unit than its values.
func TestAgreementInPercent(t *testing.T) {
	m := flow(t)
	m.Unit, m.Scale = "s", "log"
	c := Agreement(m)
	if !strings.Contains(c.Summary, "−2 %") || c.Table.Columns[1] != "Mean of both (s)" || !strings.Contains(c.Table.Caption, "(%)") {
		t.Errorf("%q %q %q", c.Summary, c.Table.Columns, c.Table.Caption)
	}
}

func TestExaminersStandByName(t *testing.T) {
	c := Examiners(biased(t))
	o := decode(t, c)
	if names := o["yAxis"].(obj)["data"].(list); !slices.Equal(names, list{"A {b}", nameless, "Z"}) {
		t.Errorf("names %v", names)
	}
	s := series(o, 0)
	if got := len(s["markLine"].(obj)["data"].(list)); got != 3 {
		t.Errorf("%d intervals", got)
	}
	if s["itemStyle"].(obj)["borderColor"] != Ink {
		t.Error("an examiner has a colour")
	}
	if x := o["xAxis"].(obj); x["min"].(float64) != -x["max"].(float64) {
		t.Errorf("0 is not in the middle of %v to %v", x["min"], x["max"])
	}
	if !strings.Contains(c.Summary, "3 examiners") || !strings.Contains(c.Summary, "2 of the intervals include 0, which says nothing") {
		t.Errorf("summary %q", c.Summary)
	}
	for _, word := range []string{"best", "worst", "rank", "good", "bad", "wrong"} {
		if strings.Contains(c.Summary+c.Table.Caption, word) {
			t.Errorf("the words judge: %q", word)
		}
	}
	if len(c.Table.Rows) != 3 || c.Table.Rows[2][0] != "Z" || c.Table.Rows[2][2] != "−30.0" {
		t.Errorf("table %q", c.Table.Rows)
	}
	if c := Examiners(odd(t)["nothing"]); !strings.Contains(c.Summary, "no two examiners") || len(c.Table.Rows) != 0 {
		t.Errorf("%q", c.Summary)
	}
}
