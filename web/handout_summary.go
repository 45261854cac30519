package web

import (
	"fmt"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
)

// summaryPage is a screening day on a page or two, for the trainer.
type summaryPage struct {
	Head
	Sum    clinic.DaySummary
	Groups []summaryGroup
	Made   string
	Hash   string
}

func (*summaryPage) file() string { return "summary.html" }

// Hidden reports whether the ith thing missing of an athlete is left out on paper.
func (*summaryPage) Hidden(i int) bool { return i >= clinic.OnPaper }

type summaryGroup struct {
	Title, Note string
	Rows        []summaryRow
}

type summaryRow struct {
	clinic.SummaryAthlete
	Rank          int
	Why, Expected string
}

func (s *server) summary(ctx *gin.Context) (answer, error) {
	sum, err := s.clinic.DaySummary(ctx.Request.Context(), s.person(ctx), ctx.Param("day"))
	if err != nil {
		return answer{}, err
	}
	p := &summaryPage{Head: Head{Title: sum.Team.Name + ", screening day of " + day(sum.Day.On), Styles: []string{"handout.css"}}, Sum: sum, Made: s.today()}
	p.Crumbs = dayCrumbs(&sum.Team, &sum.Day)
	hash := s.clinic.Protocol().Hash
	p.Hash = hash[:min(12, len(hash))]
	p.Needs = fmt.Sprintf("%d of %s on the list screened, %d with nothing missing.", sum.Screened, count(sum.Listed(), "athlete", "athletes"), sum.Complete)
	if n := len(sum.Holds); n > 0 {
		p.Needs = count(n, "athlete", "athletes") + " to see a licensed clinician before throwing again. " + p.Needs
		p.Urgent = true
	}
	for _, g := range groupTitles {
		out := summaryGroup{Title: g.title, Note: g.note}
		for i := range sum.Rows {
			if r := &sum.Rows[i]; r.Group == g.group {
				out.Rows = append(out.Rows, summaryRow{r.SummaryAthlete, r.Rank, upperFirst(r.Why) + ".", expectedWords(r.Expected)})
			}
		}
		if len(out.Rows) > 0 {
			p.Groups = append(p.Groups, out)
		}
	}
	return shown(p), nil
}
