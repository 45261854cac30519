package api

import (
	"bytes"
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"evenhand/internal/clinic"
	"evenhand/internal/exchange"
)

const typeCalendar = "text/calendar"

func (s *server) followUps() {
	add(s, route{method: http.MethodGet, path: "/teams/{team}/follow-up", id: "get-follow-up", tag: "scores", summary: "Athletes of a team by what they wait for",
		text: "On hold, overdue, due, a target to be confirmed, no improvement that can be told from error, due later."}, s.getFollowUp)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/follow-up.ics", id: "get-follow-up-calendar", tag: "scores", summary: "The days on which re-screens are due, as an iCalendar feed (RFC 5545)",
		text: "One entry a day with the number of athletes; with names only if asked for.",
		responses: map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{
			typeCalendar: {Schema: &huma.Schema{Type: huma.TypeString}}}}}}, s.getFollowUpCalendar)
}

func (s *server) getFollowUp(ctx context.Context, in *TeamPath) (*struct{ Body clinic.FollowList }, error) {
	list, err := s.clinic.FollowUp(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	return &struct{ Body clinic.FollowList }{list}, nil
}

// calendarAnswer is a calendar as it is sent.
type calendarAnswer struct {
	ContentType string `header:"Content-Type"`
	Body        []byte
}

func (s *server) getFollowUpCalendar(ctx context.Context, in *struct {
	TeamPath
	Names bool `query:"names" doc:"one entry an athlete, by name, marked private; else one a day, without names"`
},
) (*calendarAnswer, error) {
	days, team, err := s.clinic.FollowUpDays(ctx, person(ctx), in.Team, in.Names)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := exchange.WriteCalendar(&b, "Re-screens, "+team.Name, days, s.clinic.Now()); err != nil {
		return nil, err
	}
	return &calendarAnswer{typeCalendar + "; charset=utf-8", b.Bytes()}, nil
}
