package clinic

import (
	"slices"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// The counts are those of scoring one record after the other, and a protocol beside itself changes
// nothing.
func TestRescore(t *testing.T) {
	c, s, _ := demoSquad(t)
	want := map[string]Tally{}
	for i := range s.Records {
		a, err := c.Score(t.Context(), boss, s.Records[i].Screen.ID)
		if err != nil {
			t.Fatal(err)
		}
		for k := range a.Report.Findings {
			f := &a.Report.Findings[k]
			x := want[f.Rule]
			x.add(f.Verdict)
			want[f.Rule] = x
		}
	}
	got, err := c.Rescore(t.Context(), boss, nil)
	if err != nil || got.Screens != len(s.Records) {
		t.Fatalf("%d screens, %v", got.Screens, err)
	}
	for _, r := range got.Rules {
		if r.Before != want[r.Rule] || r.After != (Tally{}) || r.Changed != 0 {
			t.Errorf("%s: %+v, want %+v", r.Rule, r, want[r.Rule])
		}
	}
	same, err := c.Rescore(t.Context(), boss, score.New(c.Protocol()))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range same.Rules {
		if r.Before != r.After || r.Changed != 0 {
			t.Errorf("a protocol beside itself: %+v", r)
		}
	}
}

// A threshold that nobody reaches makes every deficit by it clear or unsettled, and nothing else.
func TestRescoreWithAnotherProtocol(t *testing.T) {
	c, _, _ := demoSquad(t)
	p := *c.Protocol()
	p.Rules = slices.Clone(p.Rules)
	i := slices.IndexFunc(p.Rules, func(r screen.Rule) bool { return r.ID == "total_arc_loss" })
	p.Rules[i].Thresholds = slices.Clone(p.Rules[i].Thresholds)
	for k := range p.Rules[i].Thresholds {
		p.Rules[i].Thresholds[k].Value = 90
	}
	out, err := c.Rescore(t.Context(), boss, score.New(&p))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range out.Rules {
		total := func(x Tally) int { return x.Deficit + x.Clear + x.Unsettled }
		switch {
		case total(r.Before) != total(r.After):
			t.Errorf("%s: %+v", r.Rule, r)
		case r.Rule == "total_arc_loss" && (r.Before.Deficit == 0 || r.After.Deficit != 0 || r.Changed < r.Before.Deficit):
			t.Errorf("the arc: %+v", r)
		case r.Rule != "total_arc_loss" && r.Rule != "rotation_loss_with_arc_loss" && r.Changed != 0:
			t.Errorf("%s changed: %+v", r.Rule, r)
		}
	}
	who := Person{ID: "x"}
	if _, err := c.Rescore(t.Context(), who, nil); !screen.IsCode(err, screen.Forbidden) {
		t.Errorf("somebody: %v", err)
	}
}
