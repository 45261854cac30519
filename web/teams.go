package web

import (
	"strconv"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// teamsPage lists the teams.
type teamsPage struct {
	Head
	Teams []teamRow
	Next  string // address of the next part of the list
	Today []todayRow
}

// todayRow is a screening day of today that is open.
type todayRow struct {
	ID, Team string
	Listed   int
}

type teamRow struct {
	ID, Name, Sport string
}

func (*teamsPage) file() string { return "teams.html" }

const teamsAtOnce = 100

func (s *server) teams(ctx *gin.Context) (answer, error) {
	list, next, err := s.clinic.Teams(ctx.Request.Context(), s.person(ctx), clinic.Page{After: ctx.Query("after"), Limit: teamsAtOnce})
	if err != nil {
		return answer{}, err
	}
	p := &teamsPage{Head: Head{Title: "Teams"}}
	for i := range list {
		p.Teams = append(p.Teams, teamRow{list[i].ID, list[i].Name, s.sportName(list[i].Sport)})
	}
	days, err := s.clinic.OpenDays(ctx.Request.Context(), s.person(ctx))
	if err != nil {
		return answer{}, err
	}
	for i := range days {
		p.Today = append(p.Today, todayRow{days[i].Day.ID, days[i].TeamName, days[i].Listed})
	}
	if len(list) == 0 && ctx.Query("after") == "" {
		p.Needs = "No team yet: add the first one."
	}
	if next != "" {
		p.Next = "/?after=" + next
	}
	return shown(p), nil
}

func (s *server) sportName(id string) string {
	if sp := s.clinic.Protocol().Sport(id); sp != nil {
		return sp.Name
	}
	return id
}

// teamForm makes a team or changes it.
type teamForm struct {
	Head
	Team   screen.Team
	New    bool
	Sports []screen.Sport
	Faults []screen.Fault
}

func (*teamForm) file() string { return "teamform.html" }

func (f *teamForm) Fault(field string) string { return faultAt(f.Faults, field) }

func (s *server) newTeam(*gin.Context) (answer, error) {
	return shown(s.teamForm(screen.Team{ID: s.clinic.NewID(), Sport: "baseball"}, nil)), nil
}

func (s *server) editTeam(ctx *gin.Context) (answer, error) {
	t, err := s.clinic.Team(ctx.Request.Context(), s.person(ctx), ctx.Param("team"))
	if err != nil {
		return answer{}, err
	}
	return shown(s.teamForm(t, nil)), nil
}

func (s *server) teamForm(t screen.Team, faults []screen.Fault) *teamForm {
	f := &teamForm{Head: Head{Title: "A new team"}, Team: t, New: t.Revision == 0, Sports: s.clinic.Protocol().Sports, Faults: faults}
	f.Crumbs = []Crumb{{"Teams", "/"}}
	if !f.New {
		f.Title = "Change the team"
		f.Crumbs = []Crumb{{t.Name, "/teams/" + t.ID}}
	}
	return f
}

// saveTeam takes the form. The id was made with the form, so that a form sent twice makes one team.
func (s *server) saveTeam(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	t := screen.Team{ID: ctx.PostForm("id"), Name: ctx.PostForm("name"), Sport: ctx.PostForm("sport")}
	if id := ctx.Param("team"); id != "" {
		t.ID = id
	}
	rev, _ := strconv.Atoi(ctx.PostForm("revision"))
	saved, err := s.clinic.PutTeam(ctx.Request.Context(), s.person(ctx), t, rev)
	if faults := faultsOf(err); faults != nil {
		t.Revision = rev
		return refused(s.teamForm(t, faults)), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/teams/" + saved.ID), nil
}
