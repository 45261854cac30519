package web

import (
	"slices"

	"github.com/gin-gonic/gin"
)

// printPage is one sheet of paper about an athlete.
type printPage struct {
	*athletePage
	Shown    []*findingView // deficits, then what is unsettled, as many as fit
	Left     int            // findings that are not shown
	ClearAre []string
	NotMet   []string
	Scored   string
	Hash     string
}

func (*printPage) file() string { return "print.html" }

// fits is how many findings have room on the sheet.
const fits = 8

func (s *server) print(ctx *gin.Context) (answer, error) {
	a, rep, err := s.athletePage(ctx)
	if err != nil {
		return answer{}, err
	}
	p := &printPage{athletePage: a, Scored: s.today()}
	p.Title = a.Athlete.Name + ", on one page"
	p.Charts = false
	if rep != nil {
		p.Hash = rep.Protocol.Hash[:min(12, len(rep.Protocol.Hash))]
	}
	all := slices.Concat(a.Deficits, a.Unsettled, a.Aside)
	p.Shown = all[:min(fits, len(all))]
	p.Left = len(all) - len(p.Shown)
	p.ClearAre = namesOf(a.Clear)
	for _, c := range a.Checklist {
		if c.NotMet {
			p.NotMet = append(p.NotMet, lowerFirst(c.Name))
		}
	}
	return shown(p), nil
}

// namesOf lists the rules of findings; a rule that was applied to both sides stands once if both are
// in the list.
func namesOf(list []*findingView) (out []string) {
	for _, f := range list {
		if name := lowerFirst(f.Rule); !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}
