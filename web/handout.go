package web

import (
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// handoutPages are the pages of this file and those beside it.
var handoutPages = []page{&handoutsPage{}, &summaryPage{}}

func (s *server) handoutRoutes(r *gin.RouterGroup) {
	s.form(r, "/days/:day/handouts", s.handouts, s.makeHandouts)
	s.page(r, "/days/:day/summary", s.summary)
}

// handoutsPage is the handouts of a screening day, one sheet of paper an athlete.
type handoutsPage struct {
	Head
	Day    screen.Day
	One    string         // name of the only athlete shown; empty: all are
	Sheets []handoutSheet // by number
	Old    []handoutSheet // those of Sheets that are out of date
	Unmade []dayPerson
	Empty  []dayPerson
}

func (*handoutsPage) file() string { return "handouts.html" }

// handoutSheet is one sheet as it was made.
type handoutSheet struct {
	dayPerson
	Text                 clinic.HandoutText
	Made, Protocol, Hash string
	Outdate              string
	Demo                 bool
	Size                 string // of the type in print, so that each sheet is one page
}

// sizes are the classes of type in print with the most letters that a sheet may have to be set in it.
// The browser test prints the longest sheets.
var sizes = []struct {
	most  int
	class string
}{{4250, "large"}, {5000, "middle"}, {math.MaxInt, "small"}}

// sizeOf counts the letters of a sheet's lists and sentences; what is on every sheet does not count.
func sizeOf(t *clinic.HandoutText) string {
	n := len(t.Name)
	add := func(lists ...[]string) {
		for _, list := range lists {
			for _, x := range list {
				n += utf8.RuneCountInString(x) + 20 // and the part of a line that stays empty
			}
		}
	}
	add(t.Stop, t.Unclear, t.Notes, t.Next, t.Now, t.Cautions)
	if len(t.Stop) == 0 {
		add(t.Doctor)
	}
	for _, d := range t.Deficits {
		add([]string{d.Say, d.Limit, d.Sure})
	}
	for _, r := range t.Regions {
		add([]string{r.Name}, r.Measured)
		for _, m := range r.Missing {
			add(m.What, []string{m.Why})
		}
	}
	for _, x := range sizes {
		if n <= x.most {
			return x.class
		}
	}
	return ""
}

// dayPerson is an athlete on the list of a day.
type dayPerson struct {
	Athlete, Name string
	Number        int
}

func dayPersonOf(a *clinic.DayAthlete) dayPerson {
	return dayPerson{a.Athlete, a.Person.Name, a.Number}
}

func (s *server) handouts(ctx *gin.Context) (answer, error) {
	all, err := s.clinic.Handouts(ctx.Request.Context(), s.person(ctx), ctx.Param("day"))
	if err != nil {
		return answer{}, err
	}
	p := &handoutsPage{Head: Head{Title: "Handouts", Styles: []string{"handout.css"}, Crumbs: dayCrumbs(&all.Team, &all.Day)}, Day: all.Day}
	for i := range all.Sheets {
		p.Sheets = append(p.Sheets, s.sheet(&all.Sheets[i]))
	}
	p.Unmade, p.Empty = people(all.Unmade), people(all.Empty)
	if id := ctx.Query("athlete"); id != "" && !p.only(id) {
		return answer{}, &screen.Problem{Code: screen.NotFound, Text: "there is no such athlete on the list of this day", Want: "choose one from the day's handouts"}
	}
	for _, x := range p.Sheets {
		if x.Outdate != "" {
			p.Old = append(p.Old, x)
		}
	}
	p.needs()
	return shown(p), nil
}

func people(list []clinic.DayAthlete) (out []dayPerson) {
	for i := range list {
		out = append(out, dayPersonOf(&list[i]))
	}
	return out
}

// dayCrumbs is the way to a page of a screening day.
func dayCrumbs(team *screen.Team, d *screen.Day) []Crumb {
	return []Crumb{{"Teams", "/"}, {team.Name, "/teams/" + team.ID}, {"Screening day of " + day(d.On), "/days/" + d.ID}}
}

func (s *server) sheet(h *clinic.AthleteHandout) handoutSheet {
	return handoutSheet{dayPerson: dayPersonOf(&h.DayAthlete), Text: h.Text, Outdate: h.Outdate, Demo: s.demo, Size: sizeOf(&h.Text),
		Made: h.Handout.Made.UTC().Format("2 Jan 2006"), Protocol: h.Handout.Protocol, Hash: h.Handout.Hash[:min(12, len(h.Handout.Hash))]}
}

// only leaves one athlete; false if there is none with that id.
func (p *handoutsPage) only(id string) bool {
	keep := func(x dayPerson) bool { return x.Athlete != id }
	p.Sheets = slices.DeleteFunc(p.Sheets, func(x handoutSheet) bool { return keep(x.dayPerson) })
	p.Unmade, p.Empty = slices.DeleteFunc(p.Unmade, keep), slices.DeleteFunc(p.Empty, keep)
	switch {
	case len(p.Sheets) > 0:
		p.One = p.Sheets[0].Name
	case len(p.Unmade) > 0:
		p.One = p.Unmade[0].Name
	case len(p.Empty) > 0:
		p.One = p.Empty[0].Name
	default:
		return false
	}
	p.Title = "Handout of " + p.One
	return true
}

// Stale is whether making handouts would make any.
func (p *handoutsPage) Stale() bool { return len(p.Old)+len(p.Unmade) > 0 }

// needs says in one line what is ready to print and what is not.
func (p *handoutsPage) needs() {
	var parts []string
	add := func(n int, one, many string) {
		if n > 0 {
			parts = append(parts, count(n, one, many)+".")
		}
	}
	add(len(p.Sheets)-len(p.Old), "handout is up to date", "handouts are up to date")
	add(len(p.Old), "is out of date", "are out of date")
	add(len(p.Unmade), "athlete has none yet", "athletes have none yet")
	add(len(p.Empty), "athlete has no entry, so there is nothing to print", "athletes have no entry, so there is nothing to print")
	p.Needs = strings.Join(parts, " ")
	if len(parts) == 0 {
		p.Needs = "Nobody is on the list of this day."
	}
}

// makeHandouts keeps what the records say now, for everybody of whom something was entered.
func (s *server) makeHandouts(ctx *gin.Context) (answer, error) {
	id := ctx.Param("day")
	if _, err := s.clinic.MakeHandouts(ctx.Request.Context(), s.person(ctx), id); err != nil {
		return answer{}, err
	}
	return goOn("/days/" + id + "/handouts"), nil
}
