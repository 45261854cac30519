package web

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// protocolPage shows what is measured, against which thresholds, with which error, and on whose word.
type protocolPage struct {
	Head
	Name, Hash string
	Cutoffs    string
	CutoffNote string
	Links      []protocolLink
	Checklist  []checklistView
	Symptoms   []labelled
	Follow     []labelled // how deficits are followed; empty: the protocol does not say
	Checks     []checkView
	Marked     int
	For        []studyView
	Against    []studyView
	Also       []studyView
	Sources    []sourceView
}

func (*protocolPage) file() string { return "protocol.html" }

type protocolLink struct {
	ID, Name string
	Measures []measureView
	Rules    []ruleView
}

type measureView struct {
	ID, Name           string
	About, Errors      []labelled
	For, Against, Also []studyView
	Norms              []labelled
}

type ruleView struct {
	ID, Name, What     string
	Thresholds         []labelled
	Counted, Core      bool
	Why                string
	For, Against, Also []studyView
}

type checkView struct {
	Name, Group, Threshold, Error string
	Words                         string
	Marks                         string
}

type sourceView struct{ ID, Cite, DOI, Status, Note string }

// onceProtocol builds the page at its first call; the check figures take a while to work out.
func onceProtocol(c *clinic.Clinic) func() *protocolPage {
	return sync.OnceValue(func() *protocolPage { return protocolPageOf(c.Protocol(), c.Scorer().Check()) })
}

func (s *server) showProtocol(*gin.Context) (answer, error) {
	p := *s.protocol() // a copy: the head is filled anew for each answer
	return shown(&p), nil
}

func protocolPageOf(p *screen.Protocol, checks []score.RuleCheck) *protocolPage {
	out := &protocolPage{Head: Head{Title: p.Title}, Name: p.NameAndVersion(), Hash: p.Hash[:min(16, len(p.Hash))]}
	out.Crumbs = []Crumb{{p.NameAndVersion(), ""}}
	out.Cutoffs = fmt.Sprintf("A deficit is called from %.0f in 100, clear from %.0f in 100 down. Everything between is unsettled.", 100*p.Cutoffs.Deficit, 100*p.Cutoffs.Clear)
	out.CutoffNote = upperFirst(p.Cutoffs.Status.Words()) + ". " + p.Cutoffs.Note
	for i := range p.Links {
		out.Links = append(out.Links, protocolLinkOf(p, &p.Links[i]))
	}
	for i := range p.Checklist {
		x := &p.Checklist[i]
		v := checklistView{Name: x.Name, Phase: strings.ReplaceAll(x.Phase, "_", " "), Answer: citeWords(x.Source, x.Status, p)}
		v.For, v.Against, v.Also = studiesOf(x.Studies, p)
		out.Checklist = append(out.Checklist, v)
	}
	for i := range p.Symptoms {
		x := &p.Symptoms[i]
		what := "Noted."
		if x.Referral {
			what = "Referral sign."
		}
		out.Symptoms = append(out.Symptoms, labelled{x.Name, what, upperFirst(citeWords(x.Source, x.Status, p))})
	}
	out.Follow = followFigures(p)
	for i := range checks {
		v := checkViewOf(&checks[i])
		if v.Marks != "" {
			out.Marked++
		}
		out.Checks = append(out.Checks, v)
	}
	out.Needs = fmt.Sprintf("%d of %d thresholds were marked by the check: read the marks before relying on them.", out.Marked, len(out.Checks))
	out.For, out.Against, out.Also = studiesOf(p.Studies, p)
	out.sources(p)
	return out
}

// followFigures are the figures by which deficits are followed, each with where it comes from.
func followFigures(p *screen.Protocol) (out []labelled) {
	f := &p.FollowUp
	if !f.Known() {
		return nil
	}
	add := func(label string, x *screen.Figure, unit string) {
		note := upperFirst(citeWords(x.Source, x.Status, p))
		if x.Note != "" {
			note += ". " + x.Note
		}
		out = append(out, labelled{label, fmt.Sprintf("%g %s", x.Value, unit), note})
	}
	add("Second reading of a deficit within", &f.SecondReadingDays, "days")
	add("No re-screen before", &f.IntervalDays, "days")
	add("Re-screen by", &f.LatestDays, "days")
	add("Just back from injury for", &f.BackDays, "days after a clearance")
	add("A pace of change fades over", &f.FadeWeeks, "weeks")
	for i := range f.Paces {
		x := &f.Paces[i]
		out = append(out, labelled{"Usual pace of change", screen.Amount(fmt.Sprintf("%g", x.Value), x.Unit) + " a week",
			upperFirst(citeWords(x.Source, x.Status, p)) + ". The standard deviation of a true difference's slope"})
	}
	return out
}

func (out *protocolPage) sources(p *screen.Protocol) {
	for id, x := range p.Sources {
		out.Sources = append(out.Sources, sourceView{id, x.Cite, x.DOI, x.Status.Words(), x.Note})
	}
	slices.SortFunc(out.Sources, func(a, b sourceView) int { return strings.Compare(a.Cite, b.Cite) })
}

func studiesOf(list []screen.Study, p *screen.Protocol) (pro, against, also []studyView) {
	var v findingView
	v.studies(list, p)
	return v.For, v.Against, v.Also
}

// citeWords is a source with how well it is known.
func citeWords(source string, status screen.Status, p *screen.Protocol) string {
	cite := p.Cite(source)
	if cite == "" {
		return status.Words()
	}
	return cite + " (" + status.Words() + ")"
}

func protocolLinkOf(p *screen.Protocol, l *screen.Link) protocolLink {
	out := protocolLink{ID: l.ID, Name: l.Name}
	for i := range p.Measures {
		if p.Measures[i].Link == l.ID {
			out.Measures = append(out.Measures, measureViewOf(&p.Measures[i], p))
		}
	}
	for i := range p.Rules {
		if p.Rules[i].Link == l.ID {
			out.Rules = append(out.Rules, ruleViewOf(&p.Rules[i], p))
		}
	}
	return out
}

func measureViewOf(m *screen.Measure, p *screen.Protocol) measureView {
	v := measureView{ID: m.ID, Name: m.Name}
	about := func(label, value string) {
		if value != "" {
			v.About = append(v.About, labelled{label, upperFirst(value), ""})
		}
	}
	about("How", m.How)
	about("Position", m.Position)
	about("Instrument", m.Instrument)
	if m.Derived != nil {
		about("Computed from", derivedWords(m.Derived, p))
	} else if m.Trials.Planned > 0 {
		about("Trials", fmt.Sprintf("%d planned, %d at most, combined by %s", m.Trials.Planned, m.Trials.Most, m.Trials.Combine))
	}
	if len(m.Plausible) == 2 {
		about("Accepted", withUnit(fmt.Sprintf("%g to %g", m.Plausible[0], m.Plausible[1]), m.Unit)+" ("+m.RangeFrom.Words()+")")
	}
	v.errors(m, p)
	for i := range m.Norms {
		n := &m.Norms[i]
		value := withUnit(fmt.Sprintf("%g", n.Mean), m.Unit)
		if n.SD != nil {
			value += " ± " + withUnit(fmt.Sprintf("%g", *n.SD), m.Unit) + " (standard deviation)"
		}
		v.Norms = append(v.Norms, labelled{strings.TrimSuffix(n.Group+", "+n.Side, ", "), value, citeWords(n.Source, n.Status, p)})
	}
	v.For, v.Against, v.Also = studiesOf(m.Studies, p)
	_, _, others := studiesOf(m.Error.Others, p)
	v.Also = append(v.Also, others...)
	return v
}

func derivedWords(d *screen.Derived, p *screen.Protocol) string {
	side := func(parts map[string]float64) string {
		var names []string
		for id := range parts {
			if m := p.Measure(id); m != nil {
				names = append(names, lowerFirst(m.Name))
			}
		}
		slices.Sort(names)
		return strings.Join(names, ", ")
	}
	if len(d.Per) > 0 {
		return side(d.Sum) + " by " + side(d.Per)
	}
	return "the sum of " + side(d.Sum)
}

// errors says how far readings of a measure lie apart, and on whose word.
func (v *measureView) errors(m *screen.Measure, p *screen.Protocol) {
	if m.Derived != nil {
		return
	}
	unit := m.Unit
	if m.Scale == screen.Log {
		unit = "%"
	}
	if t := m.Error.Trial; t != nil {
		v.Errors = append(v.Errors, labelled{"From trial to trial", "standard deviation " + withUnit(fmt.Sprintf("%g", t.Value), unit),
			strings.TrimSpace(upperFirst(citeWords(t.Source, t.Status, p)) + ". " + t.Note)})
	}
	for _, x := range []struct {
		label string
		e     *screen.PublishedError
	}{{"Same examiner", m.Error.Within}, {"Another examiner", m.Error.Between}} {
		if x.e == nil {
			continue
		}
		note := upperFirst(citeWords(x.e.Source, x.e.Status, p)) + ". " + x.e.Note
		if x.e.SameSession {
			note += " One session only: a lower bound."
		}
		v.Errors = append(v.Errors, labelled{x.label, publishedWords(x.e, unit), strings.TrimSpace(note)})
	}
}

func publishedWords(e *screen.PublishedError, unit string) string {
	for _, x := range []struct {
		name  string
		value float64
	}{{"standard error", e.SEM}, {"detectable change in 90 of 100", e.MDC90}, {"detectable change in 95 of 100", e.MDC95}} {
		if x.value != 0 {
			return x.name + " " + withUnit(fmt.Sprintf("%g", x.value), unit)
		}
	}
	return "none"
}

var ruleKinds = map[screen.RuleKind]string{
	screen.SideDifference: "the difference of the sides", screen.SidePercent: "how many percent one side is below the other",
	screen.Floor: "a value that is too low", screen.Ceiling: "a value that is too high", screen.RatioFloor: "a ratio that is too low",
	screen.AllOf: "several conditions at once", screen.RatingRule: "a rating, without a probability",
	screen.ChecklistRule: "an item that is not met", screen.SymptomRule: "a symptom that is noted",
}

func ruleViewOf(r *screen.Rule, p *screen.Protocol) ruleView {
	v := ruleView{ID: r.ID, Name: r.Name, What: "Looks at " + ruleKinds[r.Kind], Counted: r.Counted, Core: r.Core, Why: r.Why}
	if m := p.Measure(r.Measure); m != nil {
		v.What += ": " + lowerFirst(m.Name)
	}
	for _, id := range r.AllOf {
		if x := p.Rule(id); x != nil {
			v.Thresholds = append(v.Thresholds, labelled{"Condition", x.Name, ""})
		}
	}
	for i := range r.Thresholds {
		t := &r.Thresholds[i]
		v.Thresholds = append(v.Thresholds, labelled{upperFirst(whenWords(&t.When)), withUnit(fmt.Sprintf("%g", t.Value), t.Unit),
			strings.TrimSpace(upperFirst(citeWords(t.Source, t.Status, p)) + ". " + t.Note)})
	}
	v.For, v.Against, v.Also = studiesOf(r.Studies, p)
	return v
}

// checkViewOf says in words what a rule finds and misses.
func checkViewOf(c *score.RuleCheck) checkView {
	v := checkView{Name: c.Name, Group: c.Group, Threshold: withUnit(fmt.Sprintf("%g", c.Threshold), c.Unit),
		Error: withUnit(fmt.Sprintf("%.1f", c.SE), c.Unit)}
	if c.Prior {
		v.Words = fmt.Sprintf("Of 100 athletes with a true deficit %.0f are called a deficit, %.0f left unsettled, %.0f called clear. Of 100 uninjured athletes %.0f truly exceed it.",
			c.Found, c.Unsettled, c.Missed, c.Exceeded)
	}
	if math.IsNaN(c.Found) {
		v.Words = ""
	}
	v.Marks = upperFirst(strings.Join(c.Marks, "; "))
	return v
}
