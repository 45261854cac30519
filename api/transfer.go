package api

import (
	"bytes"
	"context"
	"mime"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"evenhand/internal/clinic"
	"evenhand/internal/exchange"
	"evenhand/internal/screen"
)

// The forms below describe a document; package exchange reads it, with its own places of faults.

type documentForm struct {
	Athletes []documentAthleteForm `json:"athletes,omitempty" nullable:"false"`
	Screens  []documentScreenForm  `json:"screens,omitempty" nullable:"false"`
	Events   []documentEventForm   `json:"events,omitempty" nullable:"false" doc:"what else happened to the athletes"`
	Consents []documentConsentForm `json:"consents,omitempty" nullable:"false" doc:"of the athletes; needs the permission to record consents"`
}

type documentAthleteForm struct {
	ID         string     `json:"id"`
	Name       string     `json:"name"`
	Born       string     `json:"born"`
	Sex        string     `json:"sex" enum:"male,female"`
	Throws     string     `json:"throws,omitempty" enum:"left,right,both" doc:"the throwing hand, if it always held; otherwise hands"`
	Hands      []handForm `json:"hands,omitempty" nullable:"false"`
	Sport      string     `json:"sport"`
	Positions  []string   `json:"positions,omitempty" nullable:"false"`
	Level      string     `json:"level" enum:"youth,school,college,professional"`
	HeightCM   float64    `json:"height_cm,omitempty"`
	MassKG     float64    `json:"mass_kg,omitempty"`
	ExternalID string     `json:"external_id,omitempty"`
}

type documentScreenForm struct {
	ID         string                `json:"id"`
	Athlete    string                `json:"athlete" doc:"id of an athlete of the document"`
	Team       string                `json:"team,omitempty"`
	On         string                `json:"on"`
	Kind       string                `json:"kind" enum:"preseason,in_season,rehab"`
	Examiner   string                `json:"examiner,omitempty"`
	ThrewIn48h *bool                 `json:"threw_in_48h,omitempty"`
	Note       string                `json:"note,omitempty"`
	Readings   []documentReadingForm `json:"readings,omitempty" nullable:"false"`
	NotDone    []documentNotDoneForm `json:"not_done,omitempty" nullable:"false"`
	Checklist  []documentAnswerForm  `json:"checklist,omitempty" nullable:"false"`
	Symptoms   []any                 `json:"symptoms,omitempty" nullable:"false" doc:"ids of symptoms, or objects with symptom, side and note"`
}

type documentEventForm struct {
	ID      string `json:"id"`
	Athlete string `json:"athlete" doc:"id of an athlete of the document"`
	On      string `json:"on"`
	Kind    string `json:"kind" enum:"injury,training,clearance"`
	Link    string `json:"link,omitempty" doc:"id of a link of the protocol"`
	Side    string `json:"side,omitempty" enum:"left,right"`
	Note    string `json:"note,omitempty" doc:"for a clearance, who gave it"`
	Limits  string `json:"limits,omitempty" doc:"of a clearance: what the athlete may not do yet, in plain words for the coach"`
}

type documentConsentForm struct {
	ID          string `json:"id"`
	Athlete     string `json:"athlete" doc:"id of an athlete of the document"`
	Purpose     string `json:"purpose" enum:"screening,photographs,coach"`
	On          string `json:"on"`
	Version     string `json:"version" doc:"of the text that was agreed to"`
	GivenBy     string `json:"given_by" enum:"guardian,athlete"`
	Giver       string `json:"giver,omitempty"`
	WithdrawnOn string `json:"withdrawn_on,omitempty"`
	Why         string `json:"why,omitempty"`
}

type documentReadingForm struct {
	ID      string    `json:"id,omitempty" doc:"absent: made from the screen's id and the place in the list"`
	Measure string    `json:"measure"`
	Side    string    `json:"side" enum:"left,right,none"`
	Trials  []float64 `json:"trials" nullable:"false"`
	Sign    string    `json:"sign,omitempty"`
	Circumstances
}

type documentNotDoneForm struct {
	ID      string `json:"id,omitempty"`
	Measure string `json:"measure"`
	Side    string `json:"side" enum:"left,right,none"`
	Reason  string `json:"reason" enum:"pain,refused,absent,no_time"`
}

type documentAnswerForm struct {
	ID       string `json:"id,omitempty"`
	Item     string `json:"item"`
	Answer   string `json:"answer" enum:"met,not_met,not_seen"`
	Examiner string `json:"examiner,omitempty"`
}

// File is the input of what package exchange reads.
type File struct {
	ContentType string `header:"Content-Type" hidden:"true"`
	RawBody     []byte `contentType:"text/csv"`
}

// kind is the media type of the body; JSON if none is named.
func (f *File) kind() string {
	if f.ContentType == "" {
		return typeJSON
	}
	kind, _, _ := mime.ParseMediaType(f.ContentType) // on an error it is empty, which is no kind that is read
	return kind
}

func wrongKind(want string) error {
	return &Problem{Status: http.StatusUnsupportedMediaType, Detail: "the body is not of a kind that is read here", Want: "Content-Type: " + want}
}

func (s *server) transfer() {
	registry := s.api.OpenAPI().Components.Schemas
	document := schemaOf(registry, documentForm{})
	csv := &huma.Schema{Type: huma.TypeString, Description: "readings, one a row, or a roster, one athlete a row"}
	add(s, route{method: http.MethodPost, path: "/score", id: "score-document", tag: "scores", summary: "Score a document; nothing is stored",
		text: "The same document as the score command reads, and the same answer.", rawBody: true, limit: maxImportBody,
		request: &huma.RequestBody{Content: map[string]*huma.MediaType{typeJSON: {Schema: document}}}}, s.scoreDocument)
	add(s, route{method: http.MethodPost, path: "/teams/{team}/import", id: "import", tag: "transfer", summary: "Import a document or a CSV file into a team, all or nothing",
		text: "The same import twice adds nothing. Screens of athletes without a consent for screening are faults, each with its place; consent_on says that the consent of everybody in the body is held, and records it.", rawBody: true, limit: maxImportBody, errors: []int{http.StatusConflict},
		request: &huma.RequestBody{Content: map[string]*huma.MediaType{typeJSON: {Schema: document}, typeCSV: {Schema: csv}, typeXLSX: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}}, s.importFile)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/export", id: "export", tag: "transfer", summary: "All records of a team, in a form that import reads",
		text: "CSV holds readings only; JSON holds all.",
		responses: map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{
			typeJSON: {Schema: document}, typeCSV: {Schema: csv}}}}}, s.export)
}

// schemaOf is the schema of the body's type.
func schemaOf(registry huma.Registry, body any) *huma.Schema {
	t := reflect.TypeOf(body)
	return registry.Schema(t, true, t.Name())
}

// scoreInput is a file of its own kind: only JSON is scored without being stored.
type scoreInput struct {
	ContentType string `header:"Content-Type" hidden:"true"`
	RawBody     []byte `contentType:"application/json"`
}

func (s *server) scoreDocument(_ context.Context, in *scoreInput) (*struct{ Body exchange.ScoreOutput }, error) {
	if (&File{ContentType: in.ContentType}).kind() != typeJSON {
		return nil, wrongKind(typeJSON)
	}
	doc, err := exchange.ReadJSON(bytes.NewReader(in.RawBody), s.clinic.Protocol(), exchange.Options{Today: s.clinic.Today(), MaxBytes: maxImportBody})
	if err != nil {
		return nil, err
	}
	return &struct{ Body exchange.ScoreOutput }{exchange.ScoreDocument(s.clinic.Scorer(), doc)}, nil
}

func (s *server) importFile(ctx context.Context, in *struct {
	TeamPath
	File
	ConsentOn string `query:"consent_on" doc:"day by which everybody in the body had given consent for screening; says that you hold these consents"`
	ConsentBy string `query:"consent_by" enum:"guardian,athlete" doc:"who gave it; absent: the athlete where of age, else a guardian"`
},
) (*struct{ Body clinic.Imported }, error) {
	if kind := in.kind(); kind != typeJSON && kind != typeCSV && kind != typeXLSX {
		return nil, wrongKind(typeJSON + ", " + typeCSV + " or " + typeXLSX)
	}
	opt := clinic.ImportOptions{MaxBytes: maxImportBody}
	if in.ConsentOn != "" {
		opt.Consent = &clinic.ConsentInHand{On: screen.Date(in.ConsentOn), GivenBy: screen.Giver(in.ConsentBy)}
	}
	out, err := s.clinic.Import(ctx, person(ctx), in.Team, bytes.NewReader(in.RawBody), opt)
	if err != nil {
		return nil, err
	}
	return &struct{ Body clinic.Imported }{out}, nil
}

func (s *server) export(ctx context.Context, in *struct {
	TeamPath
	Format string `query:"format" enum:"json,csv" default:"json"`
},
) (*huma.StreamResponse, error) {
	if _, err := s.clinic.Team(ctx, person(ctx), in.Team); err != nil {
		return nil, err
	}
	doc, err := s.clinic.ExportDocument(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		write := exchange.WriteJSON
		ctx.SetHeader("Content-Type", typeJSON)
		if in.Format == "csv" {
			write = exchange.WriteReadingsCSV
			ctx.SetHeader("Content-Type", typeCSV+"; charset=utf-8")
		}
		ctx.SetHeader("Content-Disposition", `attachment; filename="evenhand.`+in.Format+`"`)
		ctx.SetStatus(http.StatusOK)
		if err := write(ctx.BodyWriter(), s.clinic.Protocol(), doc); err != nil {
			s.log.WarnContext(ctx.Context(), "an export ended early")
			panic(http.ErrAbortHandler) // half a file must not look whole
		}
	}}, nil
}
