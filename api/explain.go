package api

import (
	"context"
	"net/http"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func (s *server) explanations() {
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/findings/{rule}/explanation", id: "get-explanation", tag: "scores",
		summary: "How a finding was worked out, and what would change it",
		text:    "Each step in a sentence with the numbers that go in and come out, with all their digits."}, s.getExplanation)
}

func (s *server) getExplanation(ctx context.Context, in *struct {
	ScreenPath
	Rule string `path:"rule" doc:"id of a rule"`
	Side string `query:"side" enum:"left,right" doc:"which side, of a rule that looks at each side; absent: the first one measured"`
},
) (*struct{ Body *score.Explanation }, error) {
	got, err := s.clinic.Explain(ctx, person(ctx), in.Screen, in.Rule, screen.Side(in.Side))
	if err != nil {
		return nil, err
	}
	return &struct{ Body *score.Explanation }{got.Explanation}, nil
}
