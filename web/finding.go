package web

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenhand/internal/chart"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// findingView is a finding in words: the sentence, the numbers, the picture, and what it rests on.
type findingView struct {
	Anchor, Name, Link string
	Rule               string // the name without a side
	Verdict            score.Verdict
	Sentence           string
	NotCounted         string // why the finding is shown but not counted; "" if it is counted
	Numbers            []labelled
	Advice             string
	Target             *targetView
	Picture            *chartView
	Source, Group      string
	ErrorSource        string
	Prior              string
	How                []labelled
	For, Against, Also []studyView
	Probability        string
	Worked             string // address of the page that says how it was worked out

	p float64
}

type labelled struct{ Label, Value, Note string }

type studyView struct{ Text, Source, Status string }

// targetView is what to reach, and the reading that would show that it is reached.
type targetView struct{ Name, Now, Value, Reading, Note string }

// findingLists are a report's findings in words, by need: counted deficits, then what is counted and
// unsettled, then what is shown and not counted, then what is clear; in each the most probable first.
type findingLists struct {
	Deficits, Unsettled, Aside, Clear []*findingView
}

func (s *server) findings(rep *score.Report) (out findingLists) {
	for i := range rep.Findings {
		f := &rep.Findings[i]
		list := &out.Unsettled
		switch {
		case f.Verdict == score.Clear:
			list = &out.Clear
		case !f.Counted:
			list = &out.Aside
		case f.Verdict == score.Deficit:
			list = &out.Deficits
		}
		*list = append(*list, s.finding(f, rep))
	}
	for _, list := range [][]*findingView{out.Deficits, out.Unsettled, out.Aside, out.Clear} {
		slices.SortStableFunc(list, func(a, b *findingView) int { return cmp.Compare(b.p, a.p) })
	}
	return out
}

func (s *server) finding(f *score.Finding, rep *score.Report) *findingView {
	p := s.clinic.Protocol()
	v := &findingView{Anchor: "finding-" + f.Rule, Name: f.Name, Rule: f.Name, Verdict: f.Verdict, Sentence: s.clinic.Scorer().Sentence(f),
		Probability: score.OutOf100(f.P), Source: f.Source, ErrorSource: f.Error, p: f.P}
	m, r := p.Measure(f.Measure), p.Rule(f.Rule)
	if l := p.Link(f.Link); l != nil {
		v.Link = l.Name
	}
	if f.Side == screen.Left || f.Side == screen.Right {
		v.Anchor += "-" + string(f.Side)
		v.Name += ", " + sideWords(rep.Hand, rep.Sides, m, f.Side)
	}
	switch {
	case f.Verdict == score.Unsettled && f.Advice != "":
		v.Advice = "To settle it: " + f.Advice
	case f.Verdict == score.Deficit && f.Advice != "":
		v.Advice = "Next: " + f.Advice
	}
	v.Worked = workedURL(rep.Screen, f.Rule, f.Side)
	v.numbers(f, rep, m, p)
	v.Target = targetOf(f, rep, m)
	v.basis(f, r, m, p)
	v.Prior = s.priorWords(f, rep)
	if m != nil && f.RuleKind != screen.AllOf {
		address := "/api/v1/screens/" + rep.Screen + "/charts/measures/" + f.Rule
		if f.Side == screen.Left || f.Side == screen.Right {
			address += "?side=" + string(f.Side)
		}
		v.Picture = view(address, chart.Measure(f, rep, p))
	}
	return v
}

func (v *findingView) numbers(f *score.Finding, rep *score.Report, m *screen.Measure, p *screen.Protocol) {
	add := func(label, value, note string) { v.Numbers = append(v.Numbers, labelled{label, value, note}) }
	if f.RuleKind == screen.AllOf {
		for _, id := range f.Parts {
			if r := p.Rule(id); r != nil {
				add("Condition", r.Name, "")
			}
		}
	}
	if m != nil && f.RuleKind != screen.AllOf {
		if f.RuleKind == screen.SideDifference || f.RuleKind == screen.SidePercent {
			first := firstSide(rep, m)
			add(upperFirst(sideWords(rep.Hand, rep.Sides, m, first)), withUnit(score.Number(f.First, m), m.Unit), "")
			add(upperFirst(sideWords(rep.Hand, rep.Sides, m, first.Other())), withUnit(score.Number(f.Second, m), m.Unit), "")
			add("Difference", sizeWords(f.Difference, f, m, m)+" ± "+withUnit(score.Number(1.96*f.SE, m), f.Unit), "")
			v.likely(f, m)
		} else {
			add("Value", plusMinus(f.Difference, f.SE, m, f.Unit), "")
		}
		add("Threshold", sizeWords(f.Threshold, f, m, nil), "")
	}
	add("Probability", score.OutOf100(f.P), "by the measurement alone "+score.OutOf100(f.PMeasured))
	if a := f.AtSwitch; a != nil {
		add("Near the age limit", withUnit(score.Number(a.Threshold, nil), f.Unit),
			fmt.Sprintf("under the neighbouring threshold: %s, %s", a.Verdict, score.OutOf100(a.P)))
	}
}

// likely adds the most likely difference beside the plain one, where more is known than the measurement.
func (v *findingView) likely(f *score.Finding, m *screen.Measure) {
	x, ok := f.Likely()
	if !ok {
		return
	}
	note := "plain " + sizeWords(math.Round(10*f.Difference)/10, f, m, nil)
	if f.Kind == "absolute" && x.Value*f.Difference < 0 {
		note += ", the other way round"
	}
	v.Numbers = append(v.Numbers, labelled{"Most likely", sizeWords(math.Round(10*x.Value)/10, f, m, nil) + " ± " + tenth(1.96*x.SE, f.Unit), note})
}

// priorWords says what is known of such athletes, and by whom; "" if nothing is.
func (s *server) priorWords(f *score.Finding, rep *score.Report) string {
	v := s.clinic.Scorer().Shown(f.Measure, score.Value{Value: f.PriorMean, SE: f.PriorSD})
	who, by := "Such athletes have", "by the protocol"
	switch f.Prior {
	case "none", "":
		return ""
	case "squad":
		who, by = "Athletes of this squad have", "by the squad's own figures of "+day(rep.SquadOn)
	}
	return fmt.Sprintf("%s %s on average (standard deviation %s), %s.", who,
		withUnit(fmt.Sprintf("%.3g", v.Value), f.Unit), withUnit(fmt.Sprintf("%.3g", v.SE), f.Unit), by)
}

// firstSide is the throwing side, or the lead leg, opposite to it; right where sides are only compared.
func firstSide(rep *score.Report, m *screen.Measure) screen.Side {
	switch {
	case !rep.Sides:
		return screen.Right
	case m.Limb == screen.Leg:
		return screen.Side(rep.Hand).Other()
	}
	return screen.Side(rep.Hand)
}

// sizeWords writes a difference of sides without a sign: a difference that is only compared by its
// size, one of a known direction with "more" where the throwing side has the better value. fine gives
// the fineness of the number, nil that of a threshold.
func sizeWords(x float64, f *score.Finding, m, fine *screen.Measure) string {
	sides := f.RuleKind == screen.SideDifference || f.RuleKind == screen.SidePercent || f.RuleKind == screen.AllOf
	if !sides || x >= 0 {
		return withUnit(score.Number(x, fine), f.Unit)
	}
	size := withUnit(score.Number(-x, fine), f.Unit)
	if f.Kind == "absolute" {
		return size
	}
	return size + map[bool]string{true: " more", false: " less"}[m.Worse == "lower"]
}

func targetOf(f *score.Finding, rep *score.Report, m *screen.Measure) *targetView {
	if f.Verdict == score.Clear || m == nil || f.Target == nil && f.TargetBy == "" {
		return nil
	}
	t := &targetView{Name: f.Name, Now: sizeWords(f.Difference, f, m, m), Note: f.TargetBy}
	if f.Target != nil {
		t.Value = sizeWords(*f.Target, f, m, m)
	}
	if f.Reading != nil {
		t.Reading = withUnit(score.Number(*f.Reading, m), m.Unit)
		if f.Worse == "left" || f.Worse == "right" {
			t.Reading += ", " + sideWords(rep.Hand, rep.Sides, m, screen.Side(f.Worse)) + ","
		}
	}
	return t
}

// basis is what a finding rests on, and what speaks against it.
func (v *findingView) basis(f *score.Finding, r *screen.Rule, m *screen.Measure, p *screen.Protocol) {
	if r != nil {
		if !f.Counted {
			v.NotCounted = r.Why
			if !strings.HasPrefix(r.Why, "Shown") {
				v.NotCounted = strings.TrimSpace("Shown, not counted. " + r.Why)
			}
		}
		for i := range r.Thresholds {
			if t := &r.Thresholds[i]; t.Value == f.Threshold && v.Group == "" {
				v.Group = upperFirst(whenWords(&t.When))
				if t.Note != "" {
					v.Group += ". " + t.Note
				}
			}
		}
		v.studies(r.Studies, p)
	}
	if m == nil {
		return
	}
	if f.Bound {
		v.ErrorSource += ". No day-to-day error is known for this measure: the error is a lower bound"
	}
	for _, x := range []labelled{{"Position", m.Position, ""}, {"Instrument", m.Instrument, ""}, {"How", m.How, ""}} {
		if x.Value != "" {
			v.How = append(v.How, labelled{x.Label, upperFirst(x.Value), ""})
		}
	}
	v.studies(m.Studies, p)
}

func (v *findingView) studies(list []screen.Study, p *screen.Protocol) {
	for i := range list {
		x := studyOf(&list[i], p)
		switch list[i].Speaks {
		case "for":
			v.For = append(v.For, x)
		case "against":
			v.Against = append(v.Against, x)
		default:
			v.Also = append(v.Also, x)
		}
	}
}

func studyOf(x *screen.Study, p *screen.Protocol) studyView {
	out := studyView{Text: x.Text, Source: p.Cite(x.Source)}
	if x.Status != screen.Seen {
		out.Status = x.Status.Words()
	}
	return out
}
