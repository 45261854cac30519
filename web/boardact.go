package web

import (
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// walkOnForm is what was typed for an athlete who is not on the list.
type walkOnForm struct {
	ID, Name, Born, Sex, Hand, Level string
	Consent                          bool // on paper, seen
	Faults                           []screen.Fault
}

// Fault says what is wrong with a field.
func (f walkOnForm) Fault(field string) string { return faultAt(f.Faults, field) }

// closeDay closes the day, or opens it again.
func (s *server) closeDay(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	rev, _ := strconv.Atoi(ctx.PostForm("revision"))
	d, err := s.clinic.CloseDay(ctx.Request.Context(), s.person(ctx), ctx.Param("day"), ctx.PostForm("closed") == "yes", rev)
	if err != nil {
		return answer{}, err
	}
	return goOn("/days/" + d.ID), nil
}

// addToDay puts members who came late on the list.
func (s *server) addToDay(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	day, list := ctx.Param("day"), ctx.PostFormArray("athlete")
	if len(list) > 0 {
		if err := s.clinic.AddToDay(ctx.Request.Context(), s.person(ctx), day, list); err != nil {
			return answer{}, err
		}
	}
	return goOn("/days/" + url.PathEscape(day)), nil
}

// walkOn puts somebody on the list who may not be on record. The id was made with the form, so that a
// form sent twice makes one athlete.
func (s *server) walkOn(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	text := func(name string) string { return strings.TrimSpace(ctx.PostForm(name)) }
	f := walkOnForm{ID: text("id"), Name: text("name"), Born: text("born"), Sex: text("sex"), Hand: text("hand"), Level: text("level"),
		Consent: text("consent") == "yes"}
	day := ctx.Param("day")
	part, err := s.clinic.WalkOn(ctx.Request.Context(), s.person(ctx), day, f.ID, clinic.WalkOn{Name: f.Name, Born: screen.Date(f.Born),
		Sex: screen.Sex(f.Sex), Hand: screen.Hand(f.Hand), Level: screen.Level(f.Level)})
	if f.Faults = faultsOf(err); f.Faults != nil {
		p, err := s.boardPage(ctx)
		if err != nil {
			return answer{}, err
		}
		p.WalkOn = f
		return refused(p), nil
	}
	if err == nil && f.Consent {
		err = s.clinic.ConsentAtDesk(ctx.Request.Context(), s.person(ctx), day, part.Athlete)
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/days/" + url.PathEscape(day)), nil
}

// release lifts an athlete's hold.
func (s *server) release(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	day, athlete, why := ctx.Param("day"), ctx.PostForm("athlete"), strings.TrimSpace(ctx.PostForm("why"))
	err := s.clinic.Release(ctx.Request.Context(), s.person(ctx), day, athlete, why)
	if faults := faultsOf(err); faults != nil {
		p, err := s.boardPage(ctx)
		if err != nil {
			return answer{}, err
		}
		for i := range p.Holds {
			if p.Holds[i].Athlete == athlete {
				p.Holds[i].Why, p.Holds[i].Fault = why, allFaults(faults)
			}
		}
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/days/" + url.PathEscape(day)), nil
}

// allFaults says all that is wrong in one text.
func allFaults(faults []screen.Fault) string {
	var out []string
	for _, f := range faults {
		text := upperFirst(f.Problem)
		if f.Want != "" {
			text += ". Right would be: " + f.Want
		}
		out = append(out, text+".")
	}
	return strings.Join(out, " ")
}
