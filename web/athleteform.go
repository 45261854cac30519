package web

import (
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/screen"
)

// athleteForm makes an athlete or changes one.
type athleteForm struct {
	Head
	Athlete       screen.Athlete
	New           bool
	Team          string
	Height, Mass  string // as typed
	Hand          string // a new throwing hand; empty: as it is
	HandFrom      string
	Sports        []screen.Sport
	Levels        []screen.Level
	Positions     string
	KnownPosition []string
	Faults        []screen.Fault
}

func (*athleteForm) file() string { return "athleteform.html" }

// Fault says what is wrong with a field.
func (f *athleteForm) Fault(field string) string { return faultAt(f.Faults, field) }

func (s *server) newAthlete(ctx *gin.Context) (answer, error) {
	a := screen.Athlete{ID: s.clinic.NewID(), Sport: "baseball", Level: screen.School}
	team := ctx.Query("team")
	if team != "" {
		t, err := s.clinic.Team(ctx.Request.Context(), s.person(ctx), team)
		if err != nil {
			return answer{}, err
		}
		a.Sport = t.Sport
	}
	f := s.athleteForm(a, team)
	if team != "" {
		f.Crumbs = []Crumb{{"Back to the team", "/teams/" + team}}
	}
	return shown(f), nil
}

func (s *server) editAthlete(ctx *gin.Context) (answer, error) {
	a, err := s.clinic.Athlete(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"))
	if err != nil {
		return answer{}, err
	}
	return shown(s.athleteForm(a, "")), nil
}

func (s *server) athleteForm(a screen.Athlete, team string) *athleteForm {
	f := &athleteForm{Head: Head{Title: "A new athlete"}, Athlete: a, New: a.Revision == 0, Team: team, Sports: s.clinic.Protocol().Sports,
		Levels: screen.Levels(), Positions: strings.Join(a.Positions, ", "), Height: bodyNumber(a.HeightCM), Mass: bodyNumber(a.MassKG)}
	if !f.New {
		f.Title = "Change the athlete"
		f.Crumbs = []Crumb{{a.Name, "/athletes/" + a.ID}}
	}
	for i := range f.Sports {
		for _, p := range f.Sports[i].Positions {
			if !slices.Contains(f.KnownPosition, p) {
				f.KnownPosition = append(f.KnownPosition, p)
			}
		}
	}
	return f
}

func bodyNumber(x float64) string {
	if x == 0 {
		return ""
	}
	return plainNumber(x)
}

// saveAthlete takes the form. The id was made with the form, so that a form sent twice makes one
// athlete.
func (s *server) saveAthlete(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	c, who := ctx.Request.Context(), s.person(ctx)
	a := screen.Athlete{ID: ctx.PostForm("id")}
	if id := ctx.Param("athlete"); id != "" {
		var err error
		if a, err = s.clinic.Athlete(c, who, id); err != nil {
			return answer{}, err
		}
	}
	rev, _ := strconv.Atoi(ctx.PostForm("revision"))
	team := ctx.PostForm("team")
	in := a // as typed, for showing again
	faults := fillAthlete(ctx, &in)
	if len(faults) == 0 {
		saved, err := s.clinic.PutAthlete(c, who, in, team, rev)
		if err == nil {
			return goOn("/athletes/" + saved.ID + teamQuery(team)), nil
		}
		if faults = faultsOf(err); faults == nil {
			return answer{}, err
		}
	}
	in.Hands = a.Hands
	f := s.athleteForm(in, team)
	f.New, f.Athlete.Revision, f.Faults = rev == 0, rev, faults
	f.Height, f.Mass, f.Hand, f.HandFrom = ctx.PostForm("height_cm"), ctx.PostForm("mass_kg"), ctx.PostForm("hand"), ctx.PostForm("hand_from")
	return refused(f), nil
}

func teamQuery(team string) string {
	if team == "" {
		return ""
	}
	return "?team=" + team
}

// fillAthlete puts the form's fields into an athlete. A throwing hand is added to those known, or
// takes the place of the one from the same day.
func fillAthlete(ctx *gin.Context, a *screen.Athlete) (faults []screen.Fault) {
	a.Name, a.ExternalID = strings.TrimSpace(ctx.PostForm("name")), strings.TrimSpace(ctx.PostForm("external_id"))
	a.Born, a.Sex = screen.Date(ctx.PostForm("born")), screen.Sex(ctx.PostForm("sex"))
	a.Sport, a.Level = ctx.PostForm("sport"), screen.Level(ctx.PostForm("level"))
	a.Positions = nil
	for _, p := range strings.FieldsFunc(ctx.PostForm("positions"), func(c rune) bool { return c == ',' || c == ';' || c == '/' }) {
		if p = strings.ToLower(strings.TrimSpace(p)); p != "" {
			a.Positions = append(a.Positions, p)
		}
	}
	for _, x := range []struct {
		field, example string
		to             *float64
	}{{"height_cm", "172.5", &a.HeightCM}, {"mass_kg", "64", &a.MassKG}} {
		*x.to = 0
		text := strings.ReplaceAll(strings.TrimSpace(ctx.PostForm(x.field)), ",", ".")
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || v == 0 {
			faults = append(faults, screen.Fault{Where: x.field, Problem: "this is not a number above 0", Want: x.example + ", or left out", Value: text})
			continue
		}
		*x.to = v
	}
	if hand := screen.Hand(ctx.PostForm("hand")); hand != "" {
		a.Hands = withHand(a.Hands, screen.HandSince{Hand: hand, From: screen.Date(ctx.PostForm("hand_from"))})
	}
	return faults
}

func withHand(hands []screen.HandSince, h screen.HandSince) []screen.HandSince {
	out := slices.Clone(hands)
	for i := range out {
		if out[i].From == h.From {
			out[i] = h
			return out
		}
	}
	return append(out, h)
}
