package api

import (
	"context"
	"net/http"

	"evenhand/internal/chart"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// courseBody is an athlete's course with what it was worked out by.
type courseBody struct {
	Team     string            `json:"team" doc:"of the newest screen; empty if there is none"`
	Protocol score.ProtocolRef `json:"protocol"`
	Cautions []string          `json:"cautions" nullable:"false"`
	score.Course
}

// eventForm is an event as a client sends one.
type eventForm struct {
	ID   string `json:"id" doc:"made by whoever enters the event, best a UUIDv7; the same id again is the same event"`
	On   string `json:"on" doc:"the day, as 2026-02-10"`
	Kind string `json:"kind" enum:"injury,training,clearance" doc:"training: exercises for a deficit began; clearance: that of a licensed clinician"`
	Link string `json:"link,omitempty" doc:"id of a link of the protocol; absent: none in particular"`
	Side string `json:"side,omitempty" enum:"left,right"`
	Note string `json:"note,omitempty" doc:"clinical name or a few words; for a clearance, who gave it"`
	// The coach reads limits, and never the note.
	Limits string `json:"limits,omitempty" doc:"of a clearance: what the athlete may not do yet, in plain words for the coach; absent: no limits"`
}

func (f *eventForm) event(athlete string) screen.Event {
	return screen.Event{ID: f.ID, Athlete: athlete, On: screen.Date(f.On), Kind: screen.EventKind(f.Kind), Link: f.Link,
		Side: screen.Side(f.Side), Note: f.Note, Limits: f.Limits}
}

func (s *server) courses() {
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}/course", id: "get-course", tag: "courses", summary: "What became of an athlete from visit to visit",
		text: "Screens of one day count as one visit. A target is met by the rule of repeated looks, and no date is promised."}, s.getCourse)
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}/charts/course/{rule}", id: "chart-course", tag: "charts", summary: "One rule's value over an athlete's visits"}, s.chartCourse)
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}/events", id: "list-events", tag: "courses", summary: "Injuries, exercises and clearances of an athlete, the oldest first",
		text: "Withdrawn ones are among them and say why."}, s.listEvents)
	add(s, route{method: http.MethodPost, path: "/athletes/{athlete}/events", id: "create-event", tag: "courses", summary: "Enter an event of an athlete",
		text: "The same event sent again changes nothing and is answered with 200.", created: true, errors: []int{http.StatusConflict}}, s.createEvent)
	add(s, route{method: http.MethodPost, path: "/events/{event}/withdrawal", id: "withdraw-event", tag: "courses", summary: "Take back an event that does not hold",
		text: "The event stays on record.", status: http.StatusNoContent, errors: []int{http.StatusConflict}}, s.withdrawEvent)
}

func (s *server) getCourse(ctx context.Context, in *AthletePath) (*struct{ Body courseBody }, error) {
	v, err := s.clinic.Course(ctx, person(ctx), in.Athlete)
	if err != nil {
		return nil, err
	}
	p := s.clinic.Protocol()
	return &struct{ Body courseBody }{courseBody{Team: v.Team.ID, Cautions: p.Cautions, Course: *v.Course,
		Protocol: score.ProtocolRef{Name: p.Name, Version: p.Version, Hash: p.Hash}}}, nil
}

func (s *server) chartCourse(ctx context.Context, in *struct {
	AthletePath
	Rule string `path:"rule" doc:"id of a rule"`
	Side string `query:"side" enum:"left,right" doc:"which side, of a rule that looks at each side"`
},
) (*chartAnswer, error) {
	v, err := s.clinic.Course(ctx, person(ctx), in.Athlete)
	if err != nil {
		return nil, err
	}
	m := v.Measure(in.Rule, screen.Side(in.Side))
	if m == nil {
		return nil, &screen.Problem{Code: screen.NotFound, Text: "the athlete has no values by this rule"}
	}
	return &chartAnswer{chart.Course(m, v.Course, s.clinic.Protocol())}, nil
}

func (s *server) listEvents(ctx context.Context, in *AthletePath) (*listing[screen.Event], error) {
	items, err := s.clinic.Events(ctx, person(ctx), in.Athlete)
	if err != nil {
		return nil, err
	}
	return listOf(items, ""), nil
}

func (s *server) createEvent(ctx context.Context, in *struct {
	AthletePath
	Body eventForm
},
) (*written[screen.Event], error) {
	out, added, err := s.clinic.PutEvent(ctx, person(ctx), in.Body.event(in.Athlete))
	if err != nil {
		return nil, err
	}
	status := http.StatusOK
	if added {
		status = http.StatusCreated
	}
	return &written[screen.Event]{Status: status, Body: out}, nil
}

func (s *server) withdrawEvent(ctx context.Context, in *struct {
	Event string `path:"event"`
	Body  withdrawalForm
},
) (*struct{}, error) {
	return nil, s.clinic.WithdrawEvent(ctx, person(ctx), in.Event, in.Body.Why)
}
