package chart

import (
	"bytes"
	"encoding/json"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// every is one of each chart, from throwers of either hand, of both, and from reports with holes.
func every(t testing.TB) map[string]Chart {
	t.Helper()
	p := protocol(t)
	out := map[string]Chart{}
	reports := map[string]*score.Report{
		"right": thrower(t, screen.RightHand, 3, nil), "left": thrower(t, screen.LeftHand, 4, nil),
		"both": thrower(t, screen.BothHands, 3, nil), "empty": {}, "broken": broken(t),
		"some": thrower(t, screen.LeftHand, 3, func(m *screen.Measure) bool { return m.Link != "shoulder" }),
	}
	var rows []HeatRow
	for _, name := range []string{"right", "left", "both", "empty", "broken", "some"} {
		rep := reports[name]
		rows = append(rows, HeatRow{Athlete: name, Label: "Name " + name, Report: rep})
		out["chain "+name] = Chain(rep, p)
		out["sides "+name] = Sides(rep, "", p)
		out["sides shoulder "+name] = Sides(rep, "shoulder", p)
		for i := range rep.Findings {
			f := &rep.Findings[i]
			out["measure "+name+" "+f.Rule+" "+string(f.Side)] = Measure(f, rep, p)
		}
	}
	rows = append(rows, HeatRow{Athlete: "none", Label: "Not screened"})
	out["heat"], out["heat empty"] = Heat(rows, p), Heat(nil, p)
	for i := range p.Rules {
		r := &p.Rules[i]
		if m := p.Measure(r.Measure); m != nil {
			out["distribution "+r.ID] = Distribution(m, SquadValues(rows, r.ID), "left")
		}
	}
	out["distribution empty"] = Distribution(&p.Measures[0], nil, "")
	maps.Copy(out, agreements(t))
	return out
}

// broken is a report in which every number of the findings and links is missing or infinite.
func broken(t testing.TB) *score.Report {
	rep := thrower(t, screen.RightHand, 5, nil)
	for i := range rep.Findings {
		f := &rep.Findings[i]
		x := []float64{math.NaN(), math.Inf(1), math.Inf(-1)}[i%3]
		for k, v := range []*float64{&f.First, &f.Second, &f.SE, &f.Difference, &f.Threshold, &f.P, &f.Margin[0], &f.Margin[1]} {
			if (i+k)%2 == 0 {
				*v = x
			}
		}
		f.Reading = &x
	}
	for i := range rep.Links {
		x := math.NaN()
		rep.Links[i].P, rep.Links[i].PUsual = &x, &x
	}
	return rep
}

func encode(t testing.TB, v any) []byte {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatalf("no JSON: %v", err)
	}
	return data
}

func decode(t testing.TB, c Chart) obj {
	t.Helper()
	var o obj
	if err := json.Unmarshal(encode(t, c.Option), &o); err != nil {
		t.Fatal(err)
	}
	return o
}

// walk visits every string and number of a decoded value, with the key that it stands under.
func walk(v any, key string, visit func(key string, v any)) {
	switch x := v.(type) {
	case obj:
		for k, y := range x {
			walk(y, k, visit)
		}
	case list:
		for _, y := range x {
			walk(y, key, visit)
		}
	default:
		visit(key, v)
	}
}

func TestChartsAreCompletePlainJSON(t *testing.T) {
	function := regexp.MustCompile(`function\s*\(|=>|__f__|javascript:`)
	for name, c := range every(t) {
		data := encode(t, c)
		if function.Match(data) {
			t.Errorf("%s: holds a function", name)
		}
		var keys map[string]any
		if err := json.Unmarshal(data, &keys); err != nil {
			t.Fatal(err)
		}
		for _, k := range []string{"title", "summary", "option", "table"} {
			if keys[k] == nil {
				t.Errorf("%s: no %s", name, k)
			}
		}
		if c.Title == "" || !strings.HasSuffix(c.Summary, ".") || strings.Contains(c.Summary, "\n") || c.Height <= 0 {
			t.Errorf("%s: title %q, summary %q, height %d", name, c.Title, c.Summary, c.Height)
		}
		for i, row := range c.Table.Rows {
			if len(row) != len(c.Table.Columns) {
				t.Errorf("%s: row %d has %d cells of %d", name, i, len(row), len(c.Table.Columns))
			}
		}
		if strings.Contains(c.Summary+strings.Join(slices.Concat(c.Table.Rows...), " "), "NaN") {
			t.Errorf("%s: NaN in words", name)
		}
	}
}

func TestOptionKeepsToTheLook(t *testing.T) {
	allowed := append(Palette(), "transparent")
	for name, c := range every(t) {
		o := decode(t, c)
		if o["animation"] != false {
			t.Errorf("%s: animated", name)
		}
		if tip := o["tooltip"].(obj); tip["renderMode"] != "richText" {
			t.Errorf("%s: tooltips drawn as %v", name, tip["renderMode"])
		}
		if o["aria"].(obj)["label"].(obj)["description"] != c.Summary {
			t.Errorf("%s: the alternative text is not the summary", name)
		}
		walk(o, "", func(key string, v any) {
			s, _ := v.(string)
			if strings.HasSuffix(strings.ToLower(key), "color") && s != "" && !slices.Contains(allowed, s) {
				t.Errorf("%s: colour %s", name, s)
			}
			if n, ok := v.(float64); ok && key == "fontSize" && n < 12 {
				t.Errorf("%s: font of %v", name, n)
			}
		})
	}
}

func TestSameInputGivesSameBytes(t *testing.T) {
	a, b := every(t), every(t)
	for name := range a {
		if !bytes.Equal(encode(t, a[name]), encode(t, b[name])) {
			t.Errorf("%s differs", name)
		}
	}
}

func TestNamesStayText(t *testing.T) {
	p := protocol(t)
	bad := `<img src=x onerror="alert(1)">{b}</script>`
	rep := thrower(t, screen.LeftHand, 3, nil)
	rows := []HeatRow{{Athlete: "a", Label: bad, Report: rep}, {Athlete: "b", Label: "B", Report: rep}}
	charts := []Chart{Heat(rows, p), Distribution(p.Measure("shoulder_total_arc"), SquadValues(rows, "total_arc_loss"), "a")}
	for _, c := range charts {
		if data := encode(t, c); bytes.ContainsAny(data, "<>") {
			t.Errorf("%s: markup stands in the JSON as it is", c.Title)
		}
		o, seen := decode(t, c), 0
		walk(o, "", func(key string, v any) {
			s, _ := v.(string)
			if !strings.Contains(s, "onerror") {
				return
			}
			seen++
			if key == "formatter" && strings.ContainsAny(s, "{}") {
				t.Errorf("%s: a name is read as a pattern: %s", c.Title, s)
			}
			if key != "formatter" && key != "name" && key != "data" && key != "description" {
				t.Errorf("%s: a name stands under %q", c.Title, key)
			}
		})
		if seen == 0 || o["tooltip"].(obj)["renderMode"] != "richText" {
			t.Errorf("%s: name seen %d times, tooltip %v", c.Title, seen, o["tooltip"])
		}
		if !strings.HasPrefix(c.Table.Rows[0][0], bad) && !strings.HasPrefix(c.Table.Rows[1][0], bad) {
			t.Errorf("%s: the table does not keep the name: %q", c.Title, c.Table.Rows)
		}
	}
}
