package chart

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func TestChainDrawsTheReportsNumbers(t *testing.T) {
	p := protocol(t)
	for _, hand := range []screen.Hand{screen.RightHand, screen.LeftHand, screen.BothHands} {
		rep := thrower(t, hand, 3, func(m *screen.Measure) bool { return m.Link == "elbow" })
		c := Chain(rep, p)
		o := decode(t, c)
		far, near := series(o, 0)["data"].(list), series(o, 1)["data"].(list)
		if len(far) != len(p.Links) || len(near) != len(p.Links) || len(c.Table.Rows) != len(p.Links) {
			t.Fatalf("%s: %d and %d bars, %d rows", hand, len(far), len(near), len(c.Table.Rows))
		}
		for i := range p.Links {
			want, row := link(rep, p.Links[i].ID), c.Table.Rows[i]
			f, _ := far[i].(obj)["value"].(float64)
			n, _ := near[i].(obj)["value"].(float64)
			if row[0] != p.Links[i].Name || f < 0 || n > 0 {
				t.Errorf("%s %s: bars %v and %v", hand, row[0], n, f)
			}
			if want == nil || want.P == nil {
				if f != 0 || n != 0 || row[2] != "–" {
					t.Errorf("%s %s: drawn, but not measured", hand, row[0])
				}
				continue
			}
			if math.Abs(f-n-100**want.P) > 1e-9 || row[2] != score.OutOf100(*want.P) || !strings.HasPrefix(row[1], string(want.Verdict)) {
				t.Errorf("%s %s: bars %v and %v, row %q, want %v %v", hand, row[0], n, f, row, *want.P, want.Verdict)
			}
		}
	}
}

func link(rep *score.Report, id string) *score.LinkResult {
	for i := range rep.Links {
		if rep.Links[i].Link == id {
			return &rep.Links[i]
		}
	}
	return nil
}

// A left-hander with the mirrored body has the same drawing: the throwing side on the same side, only
// the words left and right exchanged.
func TestChainOfLeftHanderIsTheMirrorImage(t *testing.T) {
	p := protocol(t)
	for seed := range int64(5) {
		right, left := Chain(thrower(t, screen.RightHand, seed, nil), p), Chain(thrower(t, screen.LeftHand, seed, nil), p)
		swap := strings.NewReplacer("(right)", "(left)", "(left)", "(right)")
		if a, b := string(encode(t, right)), swap.Replace(string(encode(t, left))); a != b {
			t.Errorf("seed %d:\n%s\n%s", seed, a, b)
		}
		if n := series(decode(t, left), 0)["name"]; n != "Throwing (left)" {
			t.Errorf("the bars to the right are named %v", n)
		}
	}
}

// One link each: deficit of the other side, unsettled without a side, clear of the throwing side, and
// one not measured.
func TestChainFillsByVerdict(t *testing.T) {
	p := protocol(t)
	rep := &score.Report{Hand: screen.LeftHand, Sides: true}
	add := func(l int, v score.Verdict, prob float64, worse string) {
		id := p.Links[l].ID
		rep.Links = append(rep.Links, score.LinkResult{Link: id, Verdict: v, P: &prob, Measured: true})
		rep.Findings = append(rep.Findings, score.Finding{Link: id, Counted: true, P: prob, Worse: worse})
	}
	add(0, score.Deficit, 0.9, "right")
	add(1, score.Unsettled, 0.5, "")
	add(2, score.Clear, 0.1, "left")
	o := decode(t, Chain(rep, p))
	far, near := series(o, 0), series(o, 1)
	if v := item(near, 0)["value"]; v != -90.0 {
		t.Errorf("deficit of the other side: %v", v)
	}
	if s := item(near, 0)["itemStyle"].(obj); s["color"] != Other || s["decal"] != nil {
		t.Errorf("deficit is not solid: %v", s)
	}
	if a, b := item(far, 1)["value"], item(near, 1)["value"]; a != 25.0 || b != -25.0 {
		t.Errorf("no side: %v and %v, want half to each", b, a)
	}
	if s := item(far, 1)["itemStyle"].(obj); s["color"] != Paper || s["decal"] == nil {
		t.Errorf("unsettled is not hatched: %v", s)
	}
	if s := item(far, 2)["itemStyle"].(obj); s["color"] != Paper || s["decal"] != nil || s["borderColor"] != Throwing {
		t.Errorf("clear is not an outline: %v", s)
	}
	dotted := 0
	for _, l := range series(o, 4)["markLine"].(obj)["data"].(list) {
		if pair, ok := l.(list); ok && pair[0].(obj)["lineStyle"].(obj)["type"] == "dotted" {
			dotted++
		}
	}
	if dotted != len(p.Links)-3 {
		t.Errorf("%d dotted rungs, want %d", dotted, len(p.Links)-3)
	}
	if data, _ := json.Marshal(o["yAxis"]); !strings.Contains(string(data), "no rule") {
		t.Errorf("links without a rule are not named so: %s", data)
	}
}
