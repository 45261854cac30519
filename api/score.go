package api

import (
	"context"
	"net/http"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// scoreBody is a report with the sentences that say it.
type scoreBody struct {
	Protocol score.ProtocolRef `json:"protocol"`
	Headline string            `json:"headline"`
	Usual    string            `json:"usual,omitempty" doc:"the expected clear links beside what is usual; absent where that is not known"`
	Cautions []string          `json:"cautions" nullable:"false"`
	score.Report
	Findings []findingBody `json:"findings" nullable:"false"`
}

type findingBody struct {
	score.Finding
	Sentence string `json:"sentence"`
}

// targetBody is a finding that is not clear, with what would make it so.
type targetBody struct {
	Rule       string        `json:"rule"`
	Name       string        `json:"name"`
	Link       string        `json:"link"`
	Measure    string        `json:"measure"`
	Unit       string        `json:"unit"`
	Verdict    score.Verdict `json:"verdict" enum:"deficit,clear,unsettled"`
	P          float64       `json:"p"`
	Worse      string        `json:"worse_side,omitempty"`
	Difference *float64      `json:"target_difference" doc:"null if no difference can show it with this error"`
	Reading    *float64      `json:"target_reading,omitempty" doc:"the reading of the worse side that the target amounts to, the other side being as it is"`
	Note       string        `json:"target_note,omitempty"`
	Sentence   string        `json:"sentence"`
}

type targetsBody struct {
	Screen string       `json:"screen,omitempty" doc:"the newest screen; absent: the athlete was never screened"`
	On     screen.Date  `json:"on,omitempty"`
	Items  []targetBody `json:"items" nullable:"false"`
}

type pairsBody struct {
	Items   []score.Pair  `json:"items" nullable:"false"`
	Indices []score.Index `json:"indices" nullable:"false" doc:"for lengths, times and forces; not for angles, counts or signed quantities"`
}

type triageBody struct {
	Team       screen.Team          `json:"team"`
	Items      []clinic.SquadRow    `json:"items" nullable:"false" doc:"who needs attention first"`
	Unscreened []score.NamedAthlete `json:"unscreened" nullable:"false"`
}

func (s *server) scores() {
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/score", id: "get-score", tag: "scores", summary: "Score of a screen",
		text: "Worked out by the protocol in use; nothing of it is stored."}, s.getScore)
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/questions", id: "list-questions", tag: "scores", summary: "Accepted values of a screen that are worth another look"}, s.listQuestions)
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/pairs", id: "list-pairs", tag: "scores", summary: "Both sides of every measure of a screen, with their errors, and the published symmetry formulas by name where they make sense"}, s.listPairs)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/triage", id: "get-triage", tag: "scores", summary: "Athletes of a team by who needs attention",
		text: "Each by the newest screen."}, s.getTriage)
}

func (s *server) getScore(ctx context.Context, in *ScreenPath) (*struct{ Body scoreBody }, error) {
	a, err := s.clinic.Score(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	return &struct{ Body scoreBody }{s.scoreBody(a.Report)}, nil
}

func (s *server) scoreBody(r *score.Report) scoreBody {
	out := scoreBody{Protocol: r.Protocol, Headline: score.Headline(r), Usual: score.Usual(r), Cautions: s.clinic.Protocol().Cautions,
		Report: *r, Findings: make([]findingBody, len(r.Findings))}
	for i := range r.Findings {
		out.Findings[i] = findingBody{r.Findings[i], s.clinic.Scorer().Sentence(&r.Findings[i])}
	}
	return out
}

func (s *server) listQuestions(ctx context.Context, in *ScreenPath) (*listing[screen.Question], error) {
	rec, err := s.clinic.Record(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	items, err := s.clinic.Questions(ctx, person(ctx), rec)
	if err != nil {
		return nil, err
	}
	return listOf(items, ""), nil
}

func (s *server) listPairs(ctx context.Context, in *ScreenPath) (*struct{ Body pairsBody }, error) {
	got, err := s.clinic.Sides(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	return &struct{ Body pairsBody }{pairsBody{listOf(got.Pairs, "").Body.Items, listOf(got.Indices, "").Body.Items}}, nil
}

func (s *server) getTriage(ctx context.Context, in *TeamPath) (*struct{ Body triageBody }, error) {
	squad, err := s.clinic.Triage(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	return &struct{ Body triageBody }{triageBody{squad.Team, squad.Rows, squad.Unscreened}}, nil
}

func (s *server) getTargets(ctx context.Context, in *AthletePath) (*struct{ Body targetsBody }, error) {
	a, ok, err := s.clinic.Latest(ctx, person(ctx), in.Athlete)
	if err != nil {
		return nil, err
	}
	out := targetsBody{Items: []targetBody{}}
	if ok {
		out.Screen, out.On = a.Report.Screen, a.Report.On
		for i := range a.Report.Findings {
			if f := &a.Report.Findings[i]; f.Verdict != score.Clear {
				out.Items = append(out.Items, targetBody{f.Rule, f.Name, f.Link, f.Measure, f.Unit, f.Verdict, f.P, f.Worse,
					f.Target, f.Reading, f.TargetBy, s.clinic.Scorer().Sentence(f)})
			}
		}
	}
	return &struct{ Body targetsBody }{out}, nil
}
