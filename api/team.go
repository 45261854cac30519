package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"evenhand/internal/screen"
)

// teamForm is a team as a client sends it.
type teamForm struct {
	ID       string    `json:"id,omitempty" doc:"made by the client, best a UUIDv7; left out: made here, or that of the address"`
	Name     string    `json:"name"`
	Sport    string    `json:"sport" doc:"id of a sport of the protocol"`
	Revision int       `json:"revision,omitempty" doc:"not read: what was read may be sent back as it is"`
	Changed  time.Time `json:"changed,omitzero" doc:"not read"`
}

func (f *teamForm) team(id string) screen.Team {
	return screen.Team{ID: id, Name: f.Name, Sport: f.Sport}
}

type seasonForm struct {
	ID   string `json:"id,omitempty"`
	Team string `json:"team,omitempty" doc:"not read: it is that of the address"`
	Name string `json:"name"`
	From string `json:"from" doc:"first day, as 2026-02-10"`
	To   string `json:"to" doc:"last day"`
}

type membershipForm struct {
	ID      string `json:"id,omitempty"`
	Team    string `json:"team,omitempty" doc:"not read: it is that of the address"`
	Athlete string `json:"athlete"`
	Season  string `json:"season,omitempty" doc:"id of a season of the team"`
	From    string `json:"from,omitempty" doc:"first day; absent: always"`
	To      string `json:"to,omitempty" doc:"last day; absent: still"`
}

// TeamPath is, like every part of an input, exported because huma reads only exported parts.
type TeamPath struct {
	Team string `path:"team"`
}

var teamPlaces = []place{{"id", "path.team"}}

func (s *server) teams() {
	add(s, route{method: http.MethodGet, path: "/teams", id: "list-teams", tag: "teams", summary: "Teams by name",
		places: pagePlaces}, s.listTeams)
	add(s, route{method: http.MethodPost, path: "/teams", id: "create-team", tag: "teams", summary: "Create a team",
		status: http.StatusCreated, errors: []int{http.StatusConflict}}, s.createTeam)
	add(s, route{method: http.MethodGet, path: "/teams/{team}", id: "get-team", tag: "teams", summary: "One team",
		conditional: true}, s.getTeam)
	add(s, route{method: http.MethodPut, path: "/teams/{team}", id: "put-team", tag: "teams", summary: "Create a team or change it",
		created: true, errors: editErrors, places: teamPlaces}, s.putTeam)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/seasons", id: "list-seasons", tag: "teams", summary: "Seasons of a team, the first one first",
		text: "The ETag is that of the team."}, s.listSeasons)
	add(s, route{method: http.MethodPut, path: "/teams/{team}/seasons/{season}", id: "put-season", tag: "teams", summary: "Create a season or change it",
		text: "To change one, give the ETag of the team.", created: true, errors: editErrors, places: []place{{"id", "path.season"}}}, s.putSeason)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/members", id: "list-members", tag: "teams", summary: "Memberships of a team, by the athlete's name",
		text: "The ETag is that of the team."}, s.listMembers)
	add(s, route{method: http.MethodPut, path: "/teams/{team}/members/{membership}", id: "put-membership", tag: "teams", summary: "Let an athlete join a team, or change a membership",
		text: "To change one, give the ETag of the team.", created: true, errors: editErrors, places: []place{{"id", "path.membership"}}}, s.putMembership)
}

func (s *server) listTeams(ctx context.Context, in *Paged) (*listing[screen.Team], error) {
	items, next, err := s.clinic.Teams(ctx, person(ctx), in.page())
	if err != nil {
		return nil, err
	}
	return listOf(items, next), nil
}

func (s *server) createTeam(ctx context.Context, in *struct{ Body teamForm }) (*written[screen.Team], error) {
	t, err := s.clinic.PutTeam(ctx, person(ctx), in.Body.team(s.idOr(in.Body.ID)), 0)
	if err != nil {
		return nil, err
	}
	return &written[screen.Team]{http.StatusCreated, etag(t.Revision), root + "/teams/" + t.ID, t}, nil
}

func (s *server) getTeam(ctx context.Context, in *struct {
	TeamPath
	Cached
},
) (*one[screen.Team], error) {
	t, err := s.clinic.Team(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	return &one[screen.Team]{etag(t.Revision), t}, in.unless(etag(t.Revision))
}

func (s *server) putTeam(ctx context.Context, in *struct {
	TeamPath
	Edit
	Body teamForm
},
) (*written[screen.Team], error) {
	if err := sameID(in.Body.ID, in.Team); err != nil {
		return nil, err
	}
	status, t, err := put(ctx, &in.Edit, func(ctx context.Context) error {
		_, err := s.clinic.Team(ctx, person(ctx), in.Team)
		return err
	}, func(ctx context.Context, rev int) (screen.Team, error) {
		return s.clinic.PutTeam(ctx, person(ctx), in.Body.team(in.Team), rev)
	})
	if err != nil {
		return nil, err
	}
	return &written[screen.Team]{Status: status, ETag: etag(t.Revision), Body: t}, nil
}

// teamTag is the team's ETag. It is read before what it stands for: if something changes in between,
// the tag is too old, and an edit by it is refused rather than lost.
func (s *server) teamTag(ctx context.Context, team string) (string, error) {
	t, err := s.clinic.Team(ctx, person(ctx), team)
	return etag(t.Revision), err
}

func (s *server) listSeasons(ctx context.Context, in *TeamPath) (*listing[screen.Season], error) {
	tag, err := s.teamTag(ctx, in.Team)
	if err != nil {
		return nil, err
	}
	items, err := s.clinic.Seasons(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	out := listOf(items, "")
	out.ETag = tag
	return out, nil
}

func (s *server) putSeason(ctx context.Context, in *struct {
	TeamPath
	Season string `path:"season"`
	Edit
	Body seasonForm
},
) (*written[screen.Season], error) {
	if err := sameID(in.Body.ID, in.Season); err != nil {
		return nil, err
	}
	status, season, err := put(ctx, &in.Edit, func(ctx context.Context) error {
		have, err := s.clinic.Seasons(ctx, person(ctx), in.Team)
		return absent(err, slices.ContainsFunc(have, func(x screen.Season) bool { return x.ID == in.Season }))
	}, func(ctx context.Context, rev int) (screen.Season, error) {
		x := screen.Season{ID: in.Season, Team: in.Team, Name: in.Body.Name, From: screen.Date(in.Body.From), To: screen.Date(in.Body.To)}
		return x, s.clinic.PutSeason(ctx, person(ctx), x, rev)
	})
	if err != nil {
		return nil, err
	}
	return &written[screen.Season]{Status: status, Body: season}, nil
}

func (s *server) listMembers(ctx context.Context, in *TeamPath) (*listing[screen.Membership], error) {
	tag, err := s.teamTag(ctx, in.Team)
	if err != nil {
		return nil, err
	}
	items, err := s.clinic.Members(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	out := listOf(items, "")
	out.ETag = tag
	return out, nil
}

func (s *server) putMembership(ctx context.Context, in *struct {
	TeamPath
	Membership string `path:"membership"`
	Edit
	Body membershipForm
},
) (*written[screen.Membership], error) {
	if err := sameID(in.Body.ID, in.Membership); err != nil {
		return nil, err
	}
	status, member, err := put(ctx, &in.Edit, func(ctx context.Context) error {
		have, err := s.clinic.Members(ctx, person(ctx), in.Team)
		return absent(err, slices.ContainsFunc(have, func(x screen.Membership) bool { return x.ID == in.Membership }))
	}, func(ctx context.Context, rev int) (screen.Membership, error) {
		x := screen.Membership{ID: in.Membership, Team: in.Team, Season: in.Body.Season, Athlete: in.Body.Athlete,
			From: screen.Date(in.Body.From), To: screen.Date(in.Body.To)}
		return x, referring(rev, s.clinic.PutMembership(ctx, person(ctx), x, rev))
	})
	if err != nil {
		return nil, err
	}
	return &written[screen.Membership]{Status: status, Body: member}, nil
}
