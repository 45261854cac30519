package clinic

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// HandoutText is what an athlete's page says, in plain words. It is kept as it was made.
type HandoutText struct {
	Name     string           `json:"name"`
	Team     string           `json:"team"`
	On       screen.Date      `json:"on"`
	Stop     []string         `json:"stop,omitempty"`     // referral signs; with any, throwing stops
	Regions  []HandoutRegion  `json:"regions"`            // by body region, from the ground to the hand
	Deficits []HandoutDeficit `json:"deficits,omitempty"` // at most mostDeficits
	More     int              `json:"more,omitempty"`     // deficits that are not on the page
	Unclear  []string         `json:"unclear,omitempty"`  // at most mostUnclear
	MoreOpen int              `json:"more_unclear,omitempty"`
	Notes    []string         `json:"notes,omitempty"` // what the numbers must be read with
	Next     []string         `json:"next"`
	Now      []string         `json:"now,omitempty"` // what a clinician should look at before the next throw
	Doctor   []string         `json:"doctor"`        // signs that mean: stop throwing, see a clinician
	Cautions []string         `json:"cautions"`
}

// HandoutRegion is a body region with what was measured there and what was not.
type HandoutRegion struct {
	Name     string         `json:"name"`
	Measured []string       `json:"measured,omitempty"`
	Missing  []HandoutBlank `json:"missing,omitempty"`
}

// HandoutBlank is what was not measured for one reason; nothing of the region if What is empty.
type HandoutBlank struct {
	What []string `json:"what,omitempty"`
	Why  string   `json:"why"`
}

// HandoutDeficit is a counted deficit in plain sentences.
type HandoutDeficit struct {
	Say   string `json:"say"`   // with the number
	Limit string `json:"limit"` // what it is held against
	Sure  string `json:"sure"`
	Then  string `json:"then,omitempty"` // what the protocol asks for first
}

// What fits on a page beside the rest.
const (
	mostDeficits = 4
	mostUnclear  = 6
)

// handoutCautions are the cautions of every screen, in plain words.
var handoutCautions = []string{
	"A screen is not a diagnosis. It cannot tell what will happen to you.",
	"Its limits are common practice. Most come from grown-up or male baseball players. Several studies found that such numbers did not tell who got hurt later. There is no proven total score.",
	"Pain, swelling, an elbow that no longer gets straight, numbness or a joint that gives way: stop throwing and see a licensed clinician.",
	"The law where you live and the judgment of licensed people come first, also for consent and for records about minors.",
}

var nextUsual = []string{
	"Bring this page to your trainer or therapist. Ask which exercises suit you.",
	"Do not start a treatment by yourself.",
}

var nextStopped = []string{
	"Show this page to a parent or guardian and to your trainer today.",
	"Take it to a licensed clinician. Do not throw until the clinician says that you may.",
	"Do not start a treatment by yourself.",
}

// handoutText puts a score into plain words. cells is what the day had planned.
func handoutText(s *score.Scorer, rec *screen.Record, rep *score.Report, team string, cells []screen.Cell) HandoutText {
	w := plainWords{s: s, p: s.Protocol(), rec: rec, rep: rep}
	out := HandoutText{Name: rec.Athlete.Name, Team: team, On: rec.Screen.On, Next: w.next(), Cautions: handoutCautions}
	out.Stop = w.signs(true)
	if len(out.Stop) > 0 {
		out.Next = nextStopped
	}
	var hurt []string
	out.Regions, hurt = w.regions(cells, len(out.Stop) > 0)
	if len(hurt) > 0 {
		out.Now = append(out.Now, "This hurt when it was measured: "+strings.Join(hurt, "; ")+". A licensed clinician looks at it before you throw again.")
	}
	out.Deficits, out.More = w.deficits()
	for _, d := range out.Deficits {
		if d.Then != "" {
			out.Now = append(out.Now, d.Then)
		}
	}
	out.Unclear, out.MoreOpen = w.unclear()
	out.Notes = w.notes()
	for i := range w.p.Symptoms {
		if x := &w.p.Symptoms[i]; x.Referral {
			out.Doctor = append(out.Doctor, symptomWords(x))
		}
	}
	return out
}

// next is what to do, with the day of the next measurement as far as this screen alone can tell it.
func (w *plainWords) next() []string {
	again := "When to measure again: the trainer says when."
	course := w.s.Course(score.CourseInput{Visits: []score.Visited{{Record: w.rec, Report: w.rep}}, Today: w.rec.Screen.On})
	if course.Due != nil {
		again = "When to measure again: around " + course.Due.On.Time().Format("2 January 2006") + ", unless the trainer says otherwise."
	}
	return append(slices.Clone(nextUsual), again)
}

// plainWords puts one score into plain words.
type plainWords struct {
	s   *score.Scorer
	p   *screen.Protocol
	rec *screen.Record
	rep *score.Report
}

func symptomWords(x *screen.SymptomDef) string { return cmp.Or(x.Plain, lowered(x.Name)) }

// signs are the symptoms on record that stand, either those that refer or the others.
func (w *plainWords) signs(referral bool) (out []string) {
	for i := range w.rec.Symptoms {
		x := &w.rec.Symptoms[i]
		def := w.p.Symptom(x.Symptom)
		if x.Withdrawn != "" || def == nil || def.Referral != referral {
			continue
		}
		text := symptomWords(def)
		if x.Side == screen.Left || x.Side == screen.Right {
			text += " (" + string(x.Side) + ")"
		}
		if !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return out
}

// deficits are the counted deficits: those first of which the protocol asks something, then the most
// probable.
func (w *plainWords) deficits() (out []HandoutDeficit, more int) {
	found := w.counted(score.Deficit)
	asks := func(f *score.Finding) int { return min(1, len(w.p.Rule(f.Rule).OnDeficit)) }
	slices.SortStableFunc(found, func(a, b *score.Finding) int {
		return cmp.Or(cmp.Compare(asks(b), asks(a)), cmp.Compare(b.P, a.P))
	})
	more = max(0, len(found)-mostDeficits)
	for _, f := range found[:len(found)-more] {
		out = append(out, w.deficit(f))
	}
	return out, more
}

func (w *plainWords) counted(v score.Verdict) (out []*score.Finding) {
	for i := range w.rep.Findings {
		if f := &w.rep.Findings[i]; f.Counted && f.Verdict == v && w.p.Rule(f.Rule) != nil {
			out = append(out, f)
		}
	}
	return out
}

// unclear says what could not be told from measurement error, the most probable deficit first.
func (w *plainWords) unclear() (out []string, more int) {
	found := w.counted(score.Unsettled)
	slices.SortStableFunc(found, func(a, b *score.Finding) int { return cmp.Compare(b.P, a.P) })
	add := func(text string) {
		if !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	for _, f := range found {
		if f.RuleKind == screen.AllOf {
			for _, id := range f.Parts {
				add(w.measureWords(w.p.Rule(id).Measure) + ", left against right")
			}
			continue
		}
		switch text := w.measureWords(f.Measure); {
		case f.RuleKind == screen.SideDifference || f.RuleKind == screen.SidePercent:
			add(text + ", left against right")
		case f.Side == screen.Left || f.Side == screen.Right:
			add(text + ", " + string(f.Side))
		default:
			add(text)
		}
	}
	more = max(0, len(out)-mostUnclear)
	return out[:len(out)-more], more
}

func (w *plainWords) measureWords(id string) string {
	m := w.p.Measure(id)
	if m == nil {
		return id
	}
	return cmp.Or(m.Plain, lowered(m.Name))
}

func (w *plainWords) notes() (out []string) {
	if w.rep.Hand == screen.BothHands {
		out = append(out, "You throw with both arms, so your two sides were only compared with each other.")
	}
	if t := w.rec.Screen.ThrewIn48h; t != nil && *t {
		out = append(out, "You threw in the two days before. That alone can make a shoulder turn less.")
	}
	for _, x := range w.signs(false) {
		out = append(out, fmt.Sprintf("You told us about this: %s.", x))
	}
	return out
}

// Anything reports whether anything was measured.
func (t HandoutText) Anything() bool {
	return slices.ContainsFunc(t.Regions, func(r HandoutRegion) bool { return len(r.Measured) > 0 })
}
