package api

import (
	"context"
	"net/http"
	"time"

	"evenhand/internal/screen"
)

// screenForm is a screen as a client sends it.
type screenForm struct {
	ID         string    `json:"id,omitempty"`
	Athlete    string    `json:"athlete"`
	Team       string    `json:"team" doc:"a team of the athlete"`
	On         string    `json:"on" doc:"the day, as 2026-02-10"`
	Kind       string    `json:"kind" enum:"preseason,in_season,rehab"`
	Examiner   string    `json:"examiner,omitempty"`
	Protocol   string    `json:"protocol,omitempty" doc:"name and version of the protocol in use on the day; absent: the present one"`
	ThrewIn48h *bool     `json:"threw_in_48h,omitempty" doc:"whether the athlete threw in the 48 hours before; absent: not asked"`
	Note       string    `json:"note,omitempty"`
	Revision   int       `json:"revision,omitempty" doc:"not read: what was read may be sent back as it is"`
	Changed    time.Time `json:"changed,omitzero" doc:"not read"`
}

func (f *screenForm) screen(id string) screen.Screen {
	return screen.Screen{ID: id, Athlete: f.Athlete, Team: f.Team, On: screen.Date(f.On), Kind: screen.Kind(f.Kind),
		Examiner: f.Examiner, Protocol: f.Protocol, ThrewIn48h: f.ThrewIn48h, Note: f.Note}
}

// ScreenPath names a screen.
type ScreenPath struct {
	Screen string `path:"screen"`
}

func (s *server) screens() {
	add(s, route{method: http.MethodGet, path: "/teams/{team}/screens", id: "list-team-screens", tag: "screens", summary: "Screens of a team, the newest first",
		places: pagePlaces}, s.listTeamScreens)
	add(s, route{method: http.MethodGet, path: "/screens/{screen}", id: "get-screen", tag: "screens", summary: "A screen with its athlete and all that was entered",
		text: "The ETag holds the revisions of the screen and of the athlete. It may stand in If-Match of a change of the screen.", conditional: true}, s.getScreen)
	add(s, route{method: http.MethodPut, path: "/screens/{screen}", id: "put-screen", tag: "screens", summary: "Create a screen or change it",
		created: true, errors: editErrors, places: []place{{"id", "path.screen"}}}, s.putScreen)
}

func (s *server) listTeamScreens(ctx context.Context, in *struct {
	TeamPath
	Paged
},
) (*listing[screen.Screen], error) {
	items, next, err := s.clinic.Screens(ctx, person(ctx), in.Team, "", in.page())
	if err != nil {
		return nil, err
	}
	return listOf(items, next), nil
}

func (s *server) getScreen(ctx context.Context, in *struct {
	ScreenPath
	Cached
},
) (*one[*screen.Record], error) {
	rec, err := s.clinic.Record(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	tag := etag(rec.Screen.Revision, rec.Athlete.Revision)
	return &one[*screen.Record]{tag, rec}, in.unless(tag)
}

func (s *server) putScreen(ctx context.Context, in *struct {
	ScreenPath
	Edit
	Body screenForm
},
) (*written[screen.Screen], error) {
	if err := sameID(in.Body.ID, in.Screen); err != nil {
		return nil, err
	}
	status, out, err := put(ctx, &in.Edit, func(ctx context.Context) error {
		_, err := s.clinic.Record(ctx, person(ctx), in.Screen)
		return err
	}, func(ctx context.Context, rev int) (screen.Screen, error) {
		out, err := s.clinic.PutScreen(ctx, person(ctx), in.Body.screen(in.Screen), rev)
		return out, referring(rev, err)
	})
	if err != nil {
		return nil, err
	}
	return &written[screen.Screen]{Status: status, ETag: etag(out.Revision), Body: out}, nil
}
