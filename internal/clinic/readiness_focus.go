package clinic

import (
	"cmp"
	"slices"
	"strings"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// mostFocus is how many things one athlete is given to work on at a time.
const mostFocus = 2

// moreLikely is from which probability on an unsettled finding is rather a deficit than none.
const moreLikely = 0.5

// focusOf are the first items of the checklist, in the order of the throw, that were not met.
func focusOf(p *screen.Protocol, rep *score.Report) (out []ReadyFocus) {
	for i := range rep.Noted {
		n := &rep.Noted[i]
		item := p.Item(n.ID)
		if n.Kind != "checklist" || !n.Flagged || item == nil {
			continue
		}
		out = append(out, ReadyFocus{Item: item.ID, Phase: strings.ReplaceAll(item.Phase, "_", " "), Words: item.Name, With: behindWords(p, item, rep)})
		if len(out) == mostFocus {
			break
		}
	}
	return out
}

// behindWords names the first link, in the item's own order, whose measures may lie behind an item and do
// not do their share. It gives neither the value nor how sure that is.
func behindWords(p *screen.Protocol, item *screen.ChecklistItem, rep *score.Report) string {
	for _, measure := range item.Behind {
		for i := range rep.Findings {
			f := &rep.Findings[i]
			if f.Measure != measure || !f.Counted || f.Verdict != score.Deficit && (f.Verdict != score.Unsettled || f.P <= moreLikely) {
				continue
			}
			if l := p.Link(f.Link); l != nil {
				return "work on the " + lowered(cmp.Or(l.Plain, l.Name)) + " with the trainer"
			}
		}
	}
	return ""
}

// group puts those together who share a focus; one alone is no group.
func (r *Readiness) group(p *screen.Protocol) {
	for i := range p.Checklist {
		item := &p.Checklist[i]
		g := FocusGroup{Item: item.ID, Phase: strings.ReplaceAll(item.Phase, "_", " "), Words: item.Name}
		for k := range r.Rows {
			row := &r.Rows[k]
			if slices.ContainsFunc(row.Focus, func(f ReadyFocus) bool { return f.Item == item.ID }) {
				g.Athletes = append(g.Athletes, ReadyName{row.Athlete, row.Name})
			}
		}
		slices.SortStableFunc(g.Athletes, func(a, b ReadyName) int { return strings.Compare(a.Name, b.Name) })
		if len(g.Athletes) > 1 {
			r.Groups = append(r.Groups, g)
		}
	}
}
