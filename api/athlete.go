package api

import (
	"context"
	"net/http"
	"time"

	"evenhand/internal/screen"
)

// athleteForm is an athlete as a client sends one.
type athleteForm struct {
	ID         string     `json:"id,omitempty" doc:"made by the client, best a UUIDv7; left out: made here, or that of the address"`
	Name       string     `json:"name" doc:"the name that is called at a station"`
	Born       string     `json:"born" doc:"birth date, as 2011-04-02"`
	Sex        string     `json:"sex" enum:"male,female" doc:"for growth equations and thresholds"`
	Hands      []handForm `json:"hands" nullable:"false" doc:"throwing hand, with the day from which it holds"`
	Sport      string     `json:"sport" doc:"id of a sport of the protocol"`
	Positions  []string   `json:"positions,omitempty"`
	Level      string     `json:"level" enum:"youth,school,college,professional"`
	HeightCM   float64    `json:"height_cm,omitempty" doc:"standing height, cm; 0: not measured"`
	MassKG     float64    `json:"mass_kg,omitempty" doc:"body mass, kg; 0: not measured"`
	ExternalID string     `json:"external_id,omitempty" doc:"the number by which another record knows the athlete"`
	Revision   int        `json:"revision,omitempty" doc:"not read: what was read may be sent back as it is"`
	Changed    time.Time  `json:"changed,omitzero" doc:"not read"`
}

type handForm struct {
	Hand string `json:"hand" enum:"left,right,both"`
	From string `json:"from,omitempty" doc:"day from which it holds; absent: always"`
}

func (f *athleteForm) athlete(id string) screen.Athlete {
	a := screen.Athlete{ID: id, Name: f.Name, Born: screen.Date(f.Born), Sex: screen.Sex(f.Sex), Hands: []screen.HandSince{},
		Sport: f.Sport, Positions: f.Positions, Level: screen.Level(f.Level), HeightCM: f.HeightCM, MassKG: f.MassKG, ExternalID: f.ExternalID}
	for _, h := range f.Hands {
		a.Hands = append(a.Hands, screen.HandSince{Hand: screen.Hand(h.Hand), From: screen.Date(h.From)})
	}
	return a
}

// AthletePath names an athlete.
type AthletePath struct {
	Athlete string `path:"athlete"`
}

// JoinQuery names a team to join.
type JoinQuery struct {
	Team string `query:"team" doc:"id of a team that the athlete joins"`
}

// handsPlace: a use case speaks of the hand that an athlete throws with, the form of the list of hands.
var handsPlace = place{"throws", "body.hands"}

func (s *server) athletes() {
	add(s, route{method: http.MethodGet, path: "/athletes", id: "list-athletes", tag: "athletes", summary: "Athletes by name",
		errors: []int{http.StatusNotFound}, places: pagePlaces}, s.listAthletes)
	add(s, route{method: http.MethodPost, path: "/athletes", id: "create-athlete", tag: "athletes", summary: "Create an athlete",
		status: http.StatusCreated, errors: []int{http.StatusConflict, http.StatusNotFound}, places: []place{handsPlace}}, s.createAthlete)
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}", id: "get-athlete", tag: "athletes", summary: "One athlete",
		conditional: true}, s.getAthlete)
	add(s, route{method: http.MethodPut, path: "/athletes/{athlete}", id: "put-athlete", tag: "athletes", summary: "Create an athlete or change one",
		created: true, errors: editErrors, places: []place{handsPlace, {"id", "path.athlete"}}}, s.putAthlete)
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}/screens", id: "list-athlete-screens", tag: "screens", summary: "Screens of an athlete, the newest first",
		places: pagePlaces}, s.listAthleteScreens)
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}/targets", id: "get-targets", tag: "scores", summary: "What an athlete should reach next",
		text: "The findings of the newest screen that are not clear."}, s.getTargets)
}

func (s *server) listAthletes(ctx context.Context, in *struct {
	Paged
	Team string `query:"team" doc:"only the athletes of this team"`
},
) (*listing[screen.Athlete], error) {
	items, next, err := s.clinic.Athletes(ctx, person(ctx), in.Team, in.page())
	if err != nil {
		return nil, err
	}
	return listOf(items, next), nil
}

func (s *server) createAthlete(ctx context.Context, in *struct {
	JoinQuery
	Body athleteForm
},
) (*written[screen.Athlete], error) {
	a, err := s.clinic.PutAthlete(ctx, person(ctx), in.Body.athlete(s.idOr(in.Body.ID)), in.Team, 0)
	if err != nil {
		return nil, referring(0, err)
	}
	return &written[screen.Athlete]{http.StatusCreated, etag(a.Revision), root + "/athletes/" + a.ID, a}, nil
}

func (s *server) getAthlete(ctx context.Context, in *struct {
	AthletePath
	Cached
},
) (*one[screen.Athlete], error) {
	a, err := s.clinic.Athlete(ctx, person(ctx), in.Athlete)
	if err != nil {
		return nil, err
	}
	return &one[screen.Athlete]{etag(a.Revision), a}, in.unless(etag(a.Revision))
}

func (s *server) putAthlete(ctx context.Context, in *struct {
	AthletePath
	JoinQuery
	Edit
	Body athleteForm
},
) (*written[screen.Athlete], error) {
	if err := sameID(in.Body.ID, in.Athlete); err != nil {
		return nil, err
	}
	status, a, err := put(ctx, &in.Edit, func(ctx context.Context) error {
		_, err := s.clinic.Athlete(ctx, person(ctx), in.Athlete)
		return err
	}, func(ctx context.Context, rev int) (screen.Athlete, error) {
		a, err := s.clinic.PutAthlete(ctx, person(ctx), in.Body.athlete(in.Athlete), in.Team, rev)
		return a, referring(rev, err)
	})
	if err != nil {
		return nil, err
	}
	return &written[screen.Athlete]{Status: status, ETag: etag(a.Revision), Body: a}, nil
}

func (s *server) listAthleteScreens(ctx context.Context, in *struct {
	AthletePath
	Paged
},
) (*listing[screen.Screen], error) {
	items, next, err := s.clinic.Screens(ctx, person(ctx), "", in.Athlete, in.page())
	if err != nil {
		return nil, err
	}
	return listOf(items, next), nil
}
