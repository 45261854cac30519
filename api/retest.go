package api

import (
	"bytes"
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"evenhand/internal/chart"
	"evenhand/internal/clinic"
	"evenhand/internal/exchange"
	"evenhand/internal/screen"
	"evenhand/internal/study"
)

// Span names days.
type Span struct {
	From string `query:"from" doc:"first day, as 2026-02-10; absent: that of to, or the newest day on which somebody was measured twice"`
	To   string `query:"to" doc:"last day; absent: that of from"`
}

func (s *Span) days() (from, to screen.Date) { return screen.Date(s.From), screen.Date(s.To) }

var spanPlaces = []place{{"from", "query.from"}, {"to", "query.to"}}

type retestBody struct {
	Team  screen.Team        `json:"team"`
	From  screen.Date        `json:"from,omitempty" doc:"absent: on no day was anybody measured twice"`
	To    screen.Date        `json:"to,omitempty"`
	Days  []clinic.RetestDay `json:"days" nullable:"false" doc:"days with repeats, the newest first"`
	Notes []string           `json:"notes" nullable:"false"`
	Study *study.Study       `json:"study" doc:"null: nobody was measured twice on these days"`
}

type retestFileBody struct {
	Study    *study.Study    `json:"study"`
	Readings []study.Reading `json:"readings" nullable:"false" doc:"as they were read: with them the study can be kept"`
	Notes    []string        `json:"notes" nullable:"false" doc:"what was taken for granted in reading"`
}

// keepForm is a study to keep, as a client sends it.
type keepForm struct {
	ID       string       `json:"id,omitempty" doc:"made by the client, best a UUIDv7; left out: made here"`
	Name     string       `json:"name"`
	From     string       `json:"from,omitempty" doc:"first day of the team's own records; without readings"`
	To       string       `json:"to,omitempty"`
	Readings []repeatForm `json:"readings,omitempty" nullable:"false" doc:"of a file; absent: the team's own records"`
}

type repeatForm struct {
	Athlete  string    `json:"athlete" doc:"any label; the same for every reading of one person"`
	Measure  string    `json:"measure"`
	Side     string    `json:"side" enum:"left,right,none"`
	Examiner string    `json:"examiner,omitempty"`
	Occasion string    `json:"occasion" doc:"the day"`
	Trials   []float64 `json:"trials" nullable:"false"`
}

func (f *keepForm) study() clinic.StudyToKeep {
	out := clinic.StudyToKeep{ID: f.ID, Name: f.Name, From: screen.Date(f.From), To: screen.Date(f.To)}
	for _, r := range f.Readings {
		out.Readings = append(out.Readings, study.Reading{Athlete: r.Athlete, Measure: r.Measure, Side: screen.Side(r.Side),
			Examiner: r.Examiner, Occasion: screen.Date(r.Occasion), Trials: r.Trials})
	}
	return out
}

// keptStudyBody is a kept study with what it says.
type keptStudyBody struct {
	screen.KeptStudy
	Stale string       `json:"stale,omitempty" doc:"why its errors cannot be switched on any more"`
	Study *study.Study `json:"study"`
}

type errorsBody struct {
	InUse clinic.NamedSwitch   `json:"in_use" doc:"without a study: the published errors"`
	Stale string               `json:"stale,omitempty" doc:"why the study in use should be made anew"`
	Items []clinic.NamedSwitch `json:"items" nullable:"false" doc:"every switch, the newest first"`
}

// effectBody is what a switch of errors would change.
type effectBody struct {
	Measures int                    `json:"measures" doc:"with an error of their own in the study"`
	Screens  int                    `json:"screens" doc:"the newest of each athlete of the team"`
	Before   verdictCount           `json:"before"`
	After    verdictCount           `json:"after"`
	Changed  int                    `json:"changed" doc:"verdicts that would be another one"`
	Changes  []clinic.VerdictChange `json:"changes" nullable:"false" doc:"by rule, in the order of the protocol"`
}

type verdictCount struct {
	Deficit   int `json:"deficit"`
	Unsettled int `json:"unsettled"`
	Clear     int `json:"clear"`
}

type switchForm struct {
	Study string `json:"study,omitempty" doc:"id of a kept study of the team; absent: the published errors"`
	Why   string `json:"why"`
}

func (s *server) retests() {
	readings := &huma.Schema{Type: huma.TypeString, Description: "one reading a row: athlete, measure, side, examiner, day, trial1, trial2 …, and sign for measures that need one"}
	workbook := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
	add(s, route{method: http.MethodGet, path: "/teams/{team}/retest", id: "get-retest", tag: "retest", summary: "What repeated readings of a team say of its own measurement error",
		text: "Worked out from the team's screens between two days; nothing of it is stored.", places: spanPlaces}, s.getRetest)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/retest/readings", id: "get-retest-readings", tag: "retest", summary: "The readings of such a study as CSV, in the form that a file of repeated readings has",
		places: spanPlaces, responses: map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{typeCSV: {Schema: readings}}}}}, s.getRetestReadings)
	add(s, route{method: http.MethodPost, path: "/teams/{team}/retest/file", id: "study-file", tag: "retest", summary: "The study of a file of repeated readings; nothing is stored",
		text: "The people measured need not be on record. A row that stands twice is two placings.", rawBody: true, limit: maxImportBody,
		request: &huma.RequestBody{Content: map[string]*huma.MediaType{typeCSV: {Schema: readings}, typeXLSX: workbook}}}, s.studyFile)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/studies", id: "list-studies", tag: "retest", summary: "Kept studies of a team, the newest first, without what they say"}, s.listStudies)
	add(s, route{method: http.MethodPost, path: "/teams/{team}/studies", id: "keep-study", tag: "retest", summary: "Keep a study as it stands now",
		text: "Nothing is scored with it until its errors are switched on.", status: http.StatusCreated, errors: []int{http.StatusConflict}}, s.keepStudy)
	add(s, route{method: http.MethodGet, path: "/studies/{study}", id: "get-study", tag: "retest", summary: "A kept study"}, s.getStudy)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/errors", id: "list-error-switches", tag: "retest", summary: "Which errors a team's screens are scored with, since when, and by whom"}, s.listErrorSwitches)
	add(s, route{method: http.MethodPost, path: "/teams/{team}/errors", id: "switch-errors", tag: "retest", summary: "Score a team's screens with the errors of a kept study, or with the published ones",
		text: "From then on. Switches are never changed; the last one counts. Errors that are in use already are not switched again."}, s.switchErrors)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/errors/effect", id: "get-error-effect", tag: "retest", summary: "How many verdicts a switch of errors would change",
		text: "In the newest screens of the team's athletes. Nothing is changed.", places: []place{{"", "query.study"}}}, s.getErrorEffect)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/charts/agreement/{measure}", id: "chart-agreement", tag: "charts", summary: "Limits of agreement of a measure that was read twice", places: spanPlaces}, s.chartAgreement)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/charts/examiners/{measure}", id: "chart-examiners", tag: "charts", summary: "Examiners compared with the mean of all on the same athletes, by name", places: spanPlaces}, s.chartExaminers)
}

func (s *server) getRetest(ctx context.Context, in *struct {
	TeamPath
	Span
},
) (*struct{ Body retestBody }, error) {
	from, to := in.days()
	r, err := s.clinic.Retest(ctx, person(ctx), in.Team, from, to)
	if err != nil {
		return nil, err
	}
	return &struct{ Body retestBody }{retestBody{r.Team, r.From, r.To, some(r.Days), some(r.Notes), r.Study}}, nil
}

// some is a list that is sent as a list where it is empty, too.
func some[T any](list []T) []T { return listOf(list, "").Body.Items }

func (s *server) getRetestReadings(ctx context.Context, in *struct {
	TeamPath
	Span
},
) (*huma.StreamResponse, error) {
	from, to := in.days()
	readings, err := s.clinic.RetestReadings(ctx, person(ctx), in.Team, from, to)
	if err != nil {
		return nil, err
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		ctx.SetHeader("Content-Type", typeCSV+"; charset=utf-8")
		ctx.SetHeader("Content-Disposition", `attachment; filename="repeated-readings.csv"`)
		ctx.SetStatus(http.StatusOK)
		if err := exchange.WriteRetestCSV(ctx.BodyWriter(), s.clinic.Protocol(), readings); err != nil {
			s.log.WarnContext(ctx.Context(), "an export ended early")
			panic(http.ErrAbortHandler) // half a file must not look whole
		}
	}}, nil
}

func (s *server) studyFile(ctx context.Context, in *struct {
	TeamPath
	File
},
) (*struct{ Body retestFileBody }, error) {
	if kind := in.kind(); kind != typeCSV && kind != typeXLSX {
		return nil, wrongKind(typeCSV + " or " + typeXLSX)
	}
	f, err := s.clinic.RetestOfFile(ctx, person(ctx), in.Team, bytes.NewReader(in.RawBody), maxImportBody)
	if err != nil {
		return nil, err
	}
	return &struct{ Body retestFileBody }{retestFileBody{f.Study, f.Readings, some(f.Notes)}}, nil
}

func (s *server) listStudies(ctx context.Context, in *TeamPath) (*listing[screen.KeptStudy], error) {
	items, err := s.clinic.StudiesKept(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	return listOf(items, ""), nil
}

func (s *server) keepStudy(ctx context.Context, in *struct {
	TeamPath
	Body keepForm
},
) (*struct{ Body screen.KeptStudy }, error) {
	kept, err := s.clinic.KeepStudy(ctx, person(ctx), in.Team, in.Body.study())
	if err != nil {
		return nil, err
	}
	return &struct{ Body screen.KeptStudy }{kept}, nil
}

func (s *server) getStudy(ctx context.Context, in *struct {
	Study string `path:"study"`
},
) (*struct{ Body keptStudyBody }, error) {
	k, err := s.clinic.StudyKept(ctx, person(ctx), in.Study)
	if err != nil {
		return nil, err
	}
	return &struct{ Body keptStudyBody }{keptStudyBody{k.KeptStudy, k.Stale, k.Study}}, nil
}

func (s *server) listErrorSwitches(ctx context.Context, in *TeamPath) (*struct{ Body errorsBody }, error) {
	e, err := s.clinic.ErrorsInUse(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	e.Now.Team = in.Team
	return &struct{ Body errorsBody }{errorsBody{e.Now, e.Stale, some(e.Switches)}}, nil
}

func (s *server) switchErrors(ctx context.Context, in *struct {
	TeamPath
	Body switchForm
},
) (*struct{ Body screen.ErrorSwitch }, error) {
	out, err := s.clinic.SwitchErrors(ctx, person(ctx), in.Team, in.Body.Study, in.Body.Why)
	if err != nil {
		return nil, err
	}
	out.Team = in.Team
	return &struct{ Body screen.ErrorSwitch }{out}, nil
}

func (s *server) getErrorEffect(ctx context.Context, in *struct {
	TeamPath
	Study string `query:"study" doc:"id of a kept study of the team; absent: the published errors"`
},
) (*struct{ Body effectBody }, error) {
	e, err := s.clinic.EffectOfSwitch(ctx, person(ctx), in.Team, in.Study)
	if err != nil {
		return nil, err
	}
	return &struct{ Body effectBody }{effectBody{e.Measures, e.Screens, verdictCount(e.Before), verdictCount(e.After), e.Changed, some(e.Changes)}}, nil
}

// RetestMeasure names a measure of a study: of a kept one, or of the team's records between two days.
type RetestMeasure struct {
	TeamPath
	Span
	Measure string `path:"measure"`
	Study   string `query:"study" doc:"id of a kept study of the team; absent: the records between the days"`
}

func (s *server) chartAgreement(ctx context.Context, in *RetestMeasure) (*chartAnswer, error) {
	m, err := s.studied(ctx, in)
	if err != nil {
		return nil, err
	}
	return &chartAnswer{chart.Agreement(m)}, nil
}

func (s *server) chartExaminers(ctx context.Context, in *RetestMeasure) (*chartAnswer, error) {
	m, err := s.studied(ctx, in)
	if err != nil {
		return nil, err
	}
	return &chartAnswer{chart.Examiners(m)}, nil
}

func (s *server) studied(ctx context.Context, in *RetestMeasure) (*study.Measure, error) {
	from, to := in.days()
	return s.clinic.StudiedMeasure(ctx, person(ctx), clinic.StudyRef{Team: in.Team, Kept: in.Study, From: from, To: to}, in.Measure)
}
