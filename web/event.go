package web

import (
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// courseEvent is something that happened to the athlete, with the form that takes it back.
type courseEvent struct {
	ID, On, Kind, Place, Note, Limits, Withdrawn string
	Why                                          string // as it was typed
	Faults                                       []screen.Fault
}

// Fault says what is wrong with a field.
func (e courseEvent) Fault(field string) string { return faultAt(e.Faults, field) }

// eventForm is what was typed for a new event.
type eventForm struct {
	ID, On, Kind, Link, Side, Note, Limits string
	Kinds, Links, Sides                    []labelled
	Faults                                 []screen.Fault
}

// Fault says what is wrong with a field.
func (f eventForm) Fault(field string) string { return faultAt(f.Faults, field) }

// Invalid is the field with what is wrong with it, for a template.
func (f eventForm) Invalid(field string) fieldFault {
	return fieldFault{"event-" + field, f.Fault(field)}
}

// newEventForm is the empty form. Its id makes an event that is sent twice one event.
func (s *server) newEventForm() eventForm {
	f := eventForm{ID: s.clinic.NewID(), On: string(s.clinic.Today()), Sides: []labelled{{Label: "", Value: "no side in particular"},
		{Label: string(screen.Left), Value: "left"}, {Label: string(screen.Right), Value: "right"}}}
	for _, k := range screen.EventKinds() {
		f.Kinds = append(f.Kinds, labelled{Label: string(k), Value: k.Words()})
	}
	f.Links = []labelled{{Label: "", Value: "none in particular"}}
	links := s.clinic.Protocol().Links
	for i := range links {
		f.Links = append(f.Links, labelled{Label: links[i].ID, Value: links[i].Name})
	}
	return f
}

// events are those of the athlete, the newest first, withdrawn ones struck through.
func (p *coursePage) events(v *clinic.CourseView, protocol *screen.Protocol) {
	for _, e := range slices.Backward(v.All) {
		x := courseEvent{ID: e.ID, On: day(e.On), Kind: upperFirst(e.Kind.Words()), Note: e.Note, Limits: e.Limits, Withdrawn: e.Withdrawn}
		var place []string
		if l := protocol.Link(e.Link); l != nil {
			place = append(place, lowerFirst(l.Name))
		}
		if e.Side != "" {
			place = append(place, string(e.Side))
		}
		x.Place = strings.Join(place, ", ")
		p.Events = append(p.Events, x)
	}
}

// addEvent takes the form of a new event.
func (s *server) addEvent(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	text := func(name string) string { return strings.TrimSpace(ctx.PostForm(name)) }
	e := screen.Event{ID: text("id"), Athlete: ctx.Param("athlete"), On: screen.Date(text("on")), Kind: screen.EventKind(text("kind")),
		Link: text("link"), Side: screen.Side(text("side")), Note: text("note"), Limits: text("limits")}
	_, _, err := s.clinic.PutEvent(ctx.Request.Context(), s.person(ctx), e)
	faults := faultsOf(err)
	if err != nil && faults == nil {
		return answer{}, err
	}
	if faults == nil {
		return s.toCourse(ctx)
	}
	p, err := s.coursePage(ctx)
	if err != nil {
		return answer{}, err
	}
	f := &p.Form
	f.ID, f.On, f.Kind, f.Link, f.Side, f.Note, f.Limits, f.Faults = e.ID, string(e.On), string(e.Kind), e.Link, string(e.Side), e.Note, e.Limits, faults
	return refused(p), nil
}

// withdrawEvent takes the form that takes an event back.
func (s *server) withdrawEvent(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	why, id := strings.TrimSpace(ctx.PostForm("why")), ctx.Param("event")
	p, err := s.coursePage(ctx)
	if err != nil {
		return answer{}, err
	}
	i := slices.IndexFunc(p.Events, func(e courseEvent) bool { return e.ID == id })
	if i < 0 {
		return answer{}, &screen.Problem{Code: screen.NotFound, Text: "this athlete has no such event", Want: "choose one of the athlete's events"}
	}
	err = s.clinic.WithdrawEvent(ctx.Request.Context(), s.person(ctx), id, why)
	if faults := faultsOf(err); faults != nil {
		p.Events[i].Why, p.Events[i].Faults = why, faults
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/athletes/" + url.PathEscape(p.Athlete.ID) + "/course#events"), nil
}
