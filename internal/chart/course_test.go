package chart

import (
	"bytes"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// months is a course of internal rotation with three visits four weeks apart after a preseason screen,
// by hand: threshold 13°, target 11°.
func months(t testing.TB) (*score.MeasureCourse, *score.Course) {
	t.Helper()
	target, reading, base := 11.0, 49.0, 0
	m := &score.MeasureCourse{Rule: "internal_rotation_loss", Name: "Loss of internal rotation", Link: "shoulder",
		Measure: "shoulder_internal_rotation", RuleKind: screen.SideDifference, Kind: "signed", Unit: "deg", Counted: true,
		Threshold: 13, Target: &target, Reading: &reading, Baseline: &base, Start: 1, State: score.StateOpen,
		Trend: &score.Trend{Weeks: []float64{4, 6, 8, 12}, Level: []float64{20, 18, 16, 12}, Lo: []float64{15, 12, 12, 7},
			Hi: []float64{25, 24, 20, 17}, Visits: 3, LevelNow: 12, Level90: [2]float64{7, 17}, PMetNow: 0.63}}
	c := &score.Course{Athlete: "a", Today: "2026-04-01", Events: []screen.Event{
		{ID: "e1", On: "2026-01-20", Kind: screen.EventInjury, Link: "shoulder"},
		{ID: "e2", On: "2026-02-10", Kind: screen.EventTraining},
		{ID: "e3", On: "2026-04-01", Kind: screen.EventClearance, Note: "{b} <b>"},
		{ID: "far", On: "2025-06-01", Kind: screen.EventInjury},
		{ID: "gone", On: "2026-02-12", Kind: screen.EventInjury, Withdrawn: "wrong athlete"},
	}}
	rep := &score.Report{Hand: screen.LeftHand, Sides: true}
	verdicts := []score.Verdict{score.Deficit, score.Deficit, score.Unsettled, score.Clear}
	for i, d := range []float64{24, 21, 16, 9} {
		on := screen.Date("2026-01-01").AddDays(28 * i)
		c.Visits = append(c.Visits, score.CourseVisit{Screen: "s", On: on, Report: rep})
		m.Points = append(m.Points, score.CoursePoint{Visit: i, On: on, Week: float64(4 * i), Difference: d, SE: 4, First: 60 - d, Second: 60,
			FirstSE: 3, SecondSE: 2, P: 0.9 - 0.25*float64(i), PMeasured: 0.9, Verdict: verdicts[i], InTrend: i > 0})
	}
	return m, c
}

func TestCourseIsDrawnByHand(t *testing.T) {
	m, c := months(t)
	got := Course(m, c, protocol(t))
	o := decode(t, got)
	readings := series(o, seriesReadings)
	for i, want := range []struct {
		day    string
		value  float64
		symbol string
	}{{"2026-01-01", 24, "rect"}, {"2026-01-29", 21, "circle"}, {"2026-02-26", 16, hatchedCircle}, {"2026-03-26", 9, "circle"}} {
		it := item(readings, i)
		v := it["value"].(list)
		if v[0] != want.day || v[1] != want.value || it["symbol"] != want.symbol {
			t.Errorf("visit %d: %v, symbol %v", i, v, it["symbol"])
		}
		bar := readings["markLine"].(obj)["data"].(list)[i].(list)
		lo, hi := bar[0].(obj)["coord"].(list), bar[1].(obj)["coord"].(list)
		if h := 1.645 * 4; lo[0] != want.day || math.Abs(want.value-lo[1].(float64)-h) > 1e-9 || math.Abs(hi[1].(float64)-want.value-h) > 1e-9 {
			t.Errorf("visit %d: error bar %v to %v", i, lo, hi)
		}
	}
	if s := item(readings, 0)["itemStyle"].(obj); s["borderType"] != "dashed" || s["color"] != Paper {
		t.Errorf("a visit before the trend is no outline: %v", s)
	}
	low, high, level := series(o, seriesLow), series(o, seriesHigh), series(o, seriesLevel)
	for i, w := range []string{"2026-01-29T00:00:00", "2026-02-12T00:00:00", "2026-02-26T00:00:00", "2026-03-26T00:00:00"} {
		a, b, l := item(low, i)["value"].(list), item(high, i)["value"].(list), item(level, i)["value"].(list)
		if a[0] != w || b[0] != w || l[0] != w || a[1] != m.Trend.Lo[i] || a[1].(float64)+b[1].(float64) != m.Trend.Hi[i] || l[1] != m.Trend.Level[i] {
			t.Errorf("band at %s: %v, height %v, level %v", w, a, b, l)
		}
	}
	if low["stack"] != high["stack"] || low["stackStrategy"] != "all" || high["areaStyle"] == nil {
		t.Error("the band's ends are not stacked whatever their sign")
	}
	if d := item(series(o, seriesTarget), 0); series(o, seriesTarget)["symbol"] != "diamond" || d["value"].(list)[1] != 11.0 {
		t.Errorf("target %v", d)
	}
	if b := item(series(o, seriesBaseline), 0)["value"].(list); b[0] != "2026-01-01" || b[1] != 24.0 {
		t.Errorf("baseline %v", b)
	}
	limit := series(o, seriesThreshold)["markLine"].(obj)["data"].(list)
	if len(limit) != 1 || limit[0].(obj)["yAxis"] != 13.0 || limit[0].(obj)["label"].(obj)["formatter"] != "threshold 13°" {
		t.Errorf("threshold %v", limit)
	}
}

// Only what holds and lies near the visits is drawn; each kind has a line of its own.
func TestCourseEvents(t *testing.T) {
	m, c := months(t)
	o := decode(t, Course(m, c, protocol(t)))
	got := series(o, seriesEvents)["markLine"].(obj)["data"].(list)
	want := []struct{ day, line, words string }{{"2026-01-20", "solid", "injury"}, {"2026-02-10", "dotted", "exercises"}, {"2026-04-01", "dashed", "cleared"}}
	if len(got) != len(want) {
		t.Fatalf("%d events: %v", len(got), got)
	}
	for i, w := range want {
		g := got[i].(obj)
		if g["xAxis"] != w.day || g["lineStyle"].(obj)["type"] != w.line || g["label"].(obj)["formatter"] != w.words {
			t.Errorf("event %d: %v", i, g)
		}
	}
}

func TestCourseSides(t *testing.T) {
	m, c := months(t)
	o := decode(t, Course(m, c, protocol(t)))
	for i, want := range []struct {
		name, symbol, color string
		first               float64
		se                  float64
	}{{"Throwing (left)", "circle", Throwing, 36, 3}, {"Other (right)", "rect", Other, 60, 2}} {
		s := series(o, seriesFirst+i)
		bar := s["markLine"].(obj)["data"].(list)[0].(list)
		lo := bar[0].(obj)["coord"].(list)[1].(float64)
		if s["name"] != want.name || s["symbol"] != want.symbol || s["itemStyle"].(obj)["borderColor"] != want.color ||
			item(s, 0)["value"].(list)[1] != want.first || math.Abs(lo-(want.first-1.645*want.se)) > 1e-9 || s["xAxisIndex"] != 1.0 {
			t.Errorf("%v", s)
		}
	}
}

func TestCourseInWords(t *testing.T) {
	m, c := months(t)
	got := Course(m, c, protocol(t))
	want := "Loss of internal rotation: 4 visits from 1 Jan 2026 to 26 Mar 2026; difference 24° at the baseline, 9° (give or take 8°) at the last visit; " +
		"threshold 13°; target 11°; smoothed 12°, 90 in 100 between 7° and 17°; clear, 15 in 100."
	if got.Summary != want {
		t.Errorf("summary %q", got.Summary)
	}
	columns := []string{"Visit", "Throwing (left) (°)", "Other (right) (°)", "Difference (°)", "True deficit", "Verdict", "Smoothed, 90 %", "Remark"}
	if !slices.Equal(got.Table.Columns, columns) {
		t.Errorf("columns %q", got.Table.Columns)
	}
	newest := []string{"26 Mar 2026", "51.0 ± 5.9", "60.0 ± 3.9", "9.0 ± 7.8", "15 in 100", "clear", "12.0 (7.0 to 17.0)", "–"}
	oldest := []string{"1 Jan 2026", "36.0 ± 5.9", "60.0 ± 3.9", "24.0 ± 7.8", "90 in 100", "deficit", "–", "baseline, not in the trend"}
	if rows := got.Table.Rows; len(rows) != 4 || !slices.Equal(rows[0], newest) || !slices.Equal(rows[3], oldest) {
		t.Errorf("rows %q", rows)
	}
	text := CourseText(m, c, protocol(t))
	if text.Option != nil || text.Summary != got.Summary || text.Height != got.Height || text.Title != got.Title {
		t.Errorf("the text alone differs: %+v", text)
	}
}

// What lies within the threshold: below it for a signed difference or a ceiling, between the two where
// sides are only compared, above it for floors.
func TestCourseWithin(t *testing.T) {
	for _, row := range []struct {
		kind   screen.RuleKind
		signed string
		last   float64
		limits []float64
		within [2]float64
		target float64
	}{
		{screen.SideDifference, "signed", 9, []float64{13}, [2]float64{math.Inf(-1), 13}, 11},
		{screen.SidePercent, "absolute", 9, []float64{-13, 13}, [2]float64{-13, 13}, 11},
		{screen.SideDifference, "absolute", -9, []float64{-13, 13}, [2]float64{-13, 13}, -11},
		{screen.Floor, "signed", 9, []float64{13}, [2]float64{13, math.Inf(1)}, 11},
		{screen.RatioFloor, "signed", 9, []float64{13}, [2]float64{13, math.Inf(1)}, 11},
		{screen.Ceiling, "signed", 9, []float64{13}, [2]float64{math.Inf(-1), 13}, 11},
	} {
		m, c := months(t)
		m.RuleKind, m.Kind = row.kind, row.signed
		m.Points[3].Difference = row.last
		tl := timelineOf(m, c, protocol(t))
		if !slices.Equal(tl.limits, row.limits) || tl.within != row.within || *tl.target != row.target {
			t.Errorf("%s %s: limits %v, within %v, target %v", row.kind, row.signed, tl.limits, tl.within, *tl.target)
		}
	}
}

// oddCourses are courses with holes, of which none may break the picture.
func oddCourses(t testing.TB) map[string]Chart {
	t.Helper()
	out := map[string]Chart{}
	add := func(name string, change func(*score.MeasureCourse, *score.Course)) {
		m, c := months(t)
		change(m, c)
		out[name] = Course(m, c, protocol(t))
	}
	nan := math.NaN()
	add("whole", func(*score.MeasureCourse, *score.Course) {})
	add("no visits", func(m *score.MeasureCourse, c *score.Course) { m.Points, m.Trend, c.Visits = nil, nil, nil })
	add("one visit", func(m *score.MeasureCourse, _ *score.Course) { m.Points, m.Trend = m.Points[:1], nil })
	add("no trend", func(m *score.MeasureCourse, _ *score.Course) { m.Trend = nil })
	add("no baseline", func(m *score.MeasureCourse, _ *score.Course) { m.Baseline = nil })
	add("no target", func(m *score.MeasureCourse, _ *score.Course) { m.Target, m.Reading = nil, nil })
	add("no reports", func(_ *score.MeasureCourse, c *score.Course) {
		for i := range c.Visits {
			c.Visits[i].Report = nil
		}
	})
	add("identical", func(m *score.MeasureCourse, _ *score.Course) {
		for i := range m.Points {
			m.Points[i].Difference, m.Points[i].SE, m.Points[i].First, m.Points[i].Second = 13, 0, 40, 53
		}
		m.Trend.Lo, m.Trend.Hi, m.Trend.Level = []float64{13, 13, 13, 13}, []float64{13, 13, 13, 13}, []float64{13, 13, 13, 13}
	})
	add("no numbers", func(m *score.MeasureCourse, _ *score.Course) {
		m.Threshold, m.Trend.LevelNow, m.Trend.Lo[1], m.Trend.Hi[2] = nan, nan, nan, math.Inf(1)
		m.Points[1].Difference, m.Points[2].SE, m.Points[3].First, m.Points[3].P = nan, nan, math.Inf(1), nan
	})
	add("wide band", func(m *score.MeasureCourse, _ *score.Course) { m.Trend.Hi[1], m.Trend.Lo[1] = 900, -900 })
	add("short trend", func(m *score.MeasureCourse, _ *score.Course) { m.Trend.Lo = m.Trend.Lo[:2] })
	add("no such measure", func(m *score.MeasureCourse, _ *score.Course) { m.Measure = "none" })
	add("one side", func(m *score.MeasureCourse, _ *score.Course) { m.RuleKind, m.Side = screen.Floor, screen.Left })
	add("many", func(m *score.MeasureCourse, _ *score.Course) {
		for i := range 500 {
			p := m.Points[i%4]
			p.On = screen.Date("2026-04-01").AddDays(i)
			p.Visit = 0
			m.Points = append(m.Points, p)
		}
	})
	return out
}

func TestOddCoursesGiveCompletePictures(t *testing.T) {
	function := regexp.MustCompile(`function\s*\(|=>|NaN|Infinity`)
	allowed := append(Palette(), "transparent")
	for name, c := range oddCourses(t) {
		o := decode(t, c)
		if function.Match(encode(t, c)) || c.Title == "" || !strings.HasSuffix(c.Summary, ".") || c.Height < 40 || strings.Contains(c.Summary, "NaN") {
			t.Errorf("%s: title %q, summary %q, height %d", name, c.Title, c.Summary, c.Height)
		}
		for _, row := range c.Table.Rows {
			if len(row) != len(c.Table.Columns) || strings.Contains(strings.Join(row, ""), "NaN") {
				t.Errorf("%s: row %q", name, row)
			}
		}
		walk(o, "", func(key string, v any) {
			if s, _ := v.(string); strings.HasSuffix(strings.ToLower(key), "color") && s != "" && !slices.Contains(allowed, s) {
				t.Errorf("%s: colour %s", name, s)
			}
			if n, ok := v.(float64); ok && key == "fontSize" && n < 12 {
				t.Errorf("%s: font of %v", name, n)
			}
		})
		if again := oddCourses(t)[name]; !bytes.Equal(encode(t, c), encode(t, again)) {
			t.Errorf("%s: the same input gives another picture", name)
		}
	}
}

// A band that nobody measured in leaves the visits readable: it takes half as much room again at most.
func TestWideBandDoesNotFlattenTheVisits(t *testing.T) {
	y := decode(t, oddCourses(t)["wide band"])["yAxis"].(list)[0].(obj)
	if from, to := y["min"].(float64), y["max"].(float64); from < -30 || to > 80 {
		t.Errorf("the axis runs from %v to %v for values of 9 to 24", from, to)
	}
}

func BenchmarkCourseChart50(b *testing.B) {
	m, c := months(b)
	for i := range 46 {
		p := m.Points[i%4]
		p.On = screen.Date("2026-04-01").AddDays(14 * i)
		m.Points = append(m.Points, p)
	}
	p := protocol(b)
	b.Run("whole", func(b *testing.B) {
		for b.Loop() {
			Course(m, c, p)
		}
	})
	b.Run("text", func(b *testing.B) {
		for b.Loop() {
			CourseText(m, c, p)
		}
	})
}
