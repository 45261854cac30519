package api

import (
	"context"
	"net/http"

	"evenhand/internal/clinic"
)

func (s *server) readiness() {
	add(s, route{method: http.MethodGet, path: "/teams/{team}/readiness", id: "get-readiness", tag: "scores", summary: "For a coach: who may throw today, and what to work on",
		text: "Nothing that was measured, reported or noted is in it. Of athletes without consent to share with the coach there are only the names."}, s.getReadiness)
}

func (s *server) getReadiness(ctx context.Context, in *TeamPath) (*struct{ Body clinic.Readiness }, error) {
	out, err := s.clinic.Readiness(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	return &struct{ Body clinic.Readiness }{out}, nil
}
