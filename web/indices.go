package web

import (
	"context"
	"fmt"
	"slices"

	"evenhand/internal/clinic"
)

// indexView is one published symmetry formula applied to one measure.
type indexView struct{ Measure, Name, Value, Source string }

// indices adds the published symmetry formulas, by name. They are shown for those who know them from
// papers; no verdict rests on them.
func (s *server) indices(c context.Context, who clinic.Person, p *athletePage, screenID string) error {
	got, err := s.clinic.Sides(c, who, screenID)
	if err != nil {
		return err
	}
	for _, x := range got.Indices {
		p.Indices = append(p.Indices, indexView{s.clinic.Protocol().Measure(x.Measure).Name, x.Name, withUnit(fmt.Sprintf("%.1f", x.Value), x.Unit), x.Source})
	}
	return nil
}

// IndexSources are the references of the formulas, each once.
func (p *athletePage) IndexSources() (out []string) {
	for _, x := range p.Indices {
		if line := upperFirst(x.Name) + ": " + x.Source; !slices.Contains(out, line) {
			out = append(out, line)
		}
	}
	return out
}
