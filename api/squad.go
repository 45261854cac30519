package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// squadBody is what was usual in a team on one day.
type squadBody struct {
	ID    string    `json:"id"`
	Made  time.Time `json:"made"`
	By    string    `json:"by,omitempty"`
	InUse bool      `json:"in_use" doc:"made by the protocol in use: scores of the day and of later visits rest on it"`
	score.SquadPrior
}

type squadForm struct {
	On string `json:"on" doc:"the day of the screens, as 2026-02-10"`
}

func (s *server) squads() {
	add(s, route{method: http.MethodGet, path: "/teams/{team}/squad", id: "list-squad-priors", tag: "scores", summary: "What was usual in a team on each of its days, the newest first",
		text: "For every measure and group of athletes: the true side differences of the squad, beside what the protocol says. With ?on= that of one day, with the grids that probabilities are averaged over."}, s.listSquads)
	add(s, route{method: http.MethodPost, path: "/teams/{team}/squad", id: "work-out-squad-prior", tag: "scores", summary: "Work out what was usual in a team on a day",
		text: "Closing a screening day does this by itself; this is for a date without one, of which the preseason screens count, or to count in what came in late.", status: http.StatusCreated}, s.workOutSquad)
}

func (s *server) listSquads(ctx context.Context, in *struct {
	TeamPath
	On string `query:"on" doc:"one day only, as 2026-02-10"`
},
) (*listing[squadBody], error) {
	list, err := s.clinic.SquadPriors(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	out := []squadBody{}
	for i := range list {
		if in.On == "" || string(list[i].On) == in.On {
			out = append(out, squadBodyOf(&list[i], in.On != ""))
		}
	}
	return listOf(out, ""), nil
}

func squadBodyOf(v *clinic.SquadPriorView, grids bool) squadBody {
	out := squadBody{ID: v.ID, Made: v.Made, By: v.By, InUse: v.Current, SquadPrior: *v.Prior}
	if !grids {
		out.Groups = slices.Clone(out.Groups)
		for i := range out.Groups {
			out.Groups[i].Grid = nil
		}
	}
	return out
}

func (s *server) workOutSquad(ctx context.Context, in *struct {
	TeamPath
	Body squadForm
},
) (*struct{ Body squadBody }, error) {
	v, err := s.clinic.WorkOutSquad(ctx, person(ctx), in.Team, screen.Date(in.Body.On))
	if err != nil {
		return nil, err
	}
	return &struct{ Body squadBody }{squadBodyOf(&v, true)}, nil
}
