package api

import (
	"context"
	"fmt"
	"net/http"

	"evenhand/internal/chart"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// chartAnswer is the answer of every chart.
type chartAnswer struct{ Body chart.Chart }

func (s *server) charts() {
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/charts/chain", id: "chart-chain", tag: "charts", summary: "The chain of a screen as a ladder"}, s.chartChain)
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/charts/sides", id: "chart-sides", tag: "charts", summary: "Both sides of every paired measure of a screen"}, s.chartSides)
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/charts/measures/{measure}", id: "chart-measure", tag: "charts", summary: "One finding of a screen, by its rule or its measure"}, s.chartMeasure)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/charts/heat", id: "chart-heat", tag: "charts", summary: "A squad by athlete and link"}, s.chartHeat)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/charts/distribution", id: "chart-distribution", tag: "charts", summary: "One rule or measure over a squad"}, s.chartDistribution)
}

func (s *server) chartChain(ctx context.Context, in *ScreenPath) (*chartAnswer, error) {
	a, err := s.clinic.Score(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	return &chartAnswer{chart.Chain(a.Report, s.clinic.Protocol())}, nil
}

func (s *server) chartSides(ctx context.Context, in *struct {
	ScreenPath
	Link string `query:"link" doc:"only the measures of this link"`
},
) (*chartAnswer, error) {
	if in.Link != "" && s.clinic.Protocol().Link(in.Link) == nil {
		return nil, unknown("query.link", "link", in.Link)
	}
	a, err := s.clinic.Score(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	return &chartAnswer{chart.Sides(a.Report, in.Link, s.clinic.Protocol())}, nil
}

func (s *server) chartMeasure(ctx context.Context, in *struct {
	ScreenPath
	Measure string `path:"measure" doc:"id of a rule or of a measure"`
	Side    string `query:"side" enum:"left,right" doc:"which side, of a rule that looks at each side"`
},
) (*chartAnswer, error) {
	a, err := s.clinic.Score(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	f := findingFor(a.Report, in.Measure, screen.Side(in.Side))
	if f == nil {
		return nil, &screen.Problem{Code: screen.NotFound, Text: "the screen has no finding by this rule or measure"}
	}
	return &chartAnswer{chart.Measure(f, a.Report, s.clinic.Protocol())}, nil
}

// findingFor is the finding by a rule, or the first one by a measure; of several the one of the side, if
// one is named.
func findingFor(r *score.Report, id string, side screen.Side) *score.Finding {
	for _, byRule := range []bool{true, false} {
		for i := range r.Findings {
			f := &r.Findings[i]
			if side != "" && f.Side != "" && f.Side != side {
				continue
			}
			if byRule && f.Rule == id || !byRule && f.Measure == id && f.RuleKind != screen.AllOf {
				return f
			}
		}
	}
	return nil
}

func (s *server) chartHeat(ctx context.Context, in *TeamPath) (*chartAnswer, error) {
	squad, err := s.clinic.Triage(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	return &chartAnswer{chart.Heat(squad.HeatRows(), s.clinic.Protocol())}, nil
}

func (s *server) chartDistribution(ctx context.Context, in *struct {
	TeamPath
	Measure string `query:"measure" required:"true" doc:"id of a rule or of a measure"`
	Athlete string `query:"athlete" doc:"id of the athlete to mark"`
},
) (*chartAnswer, error) {
	rule := ruleFor(s.clinic.Protocol(), in.Measure)
	if rule == nil {
		return nil, unknown("query.measure", "rule or measure", in.Measure)
	}
	squad, err := s.clinic.Triage(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	values := chart.SquadValues(squad.HeatRows(), rule.ID)
	return &chartAnswer{chart.Distribution(s.clinic.Protocol().Measure(rule.Measure), values, in.Athlete)}, nil
}

// ruleFor is the rule with the id, or the first one on the measure with the id, that has values.
func ruleFor(p *screen.Protocol, id string) *screen.Rule {
	for _, byMeasure := range []bool{false, true} {
		for i := range p.Rules {
			r := &p.Rules[i]
			if p.Measure(r.Measure) != nil && (r.ID == id || byMeasure && r.Measure == id && len(r.Thresholds) > 0) {
				return r
			}
		}
	}
	return nil
}

func unknown(location, what, value string) error {
	return &Problem{Status: http.StatusUnprocessableEntity, Errors: []Fault{{Location: location,
		Message: fmt.Sprintf("the protocol has no such %s", what), Value: clip(value), Want: "see " + root + "/protocol"}}}
}
