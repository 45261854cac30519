package api

import (
	"context"
	"net/http"

	"evenhand/internal/clinic"
)

func (s *server) privacy() {
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}/held", id: "get-held", tag: "privacy", summary: "Everything that is held about one athlete, for a copy to hand out",
		text: "Also what was corrected, withdrawn or answered anew since, and who looked at it. What opens a link is not in it."}, s.getHeld)
}

func (s *server) getHeld(ctx context.Context, in *AthletePath) (*struct{ Body clinic.Held }, error) {
	out, err := s.clinic.Held(ctx, person(ctx), in.Athlete)
	return &struct{ Body clinic.Held }{out}, err
}
