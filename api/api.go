package api

import (
	"context"
	"log/slog"
	"net/http"
	"reflect"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/score"
)

// Limits of requests.
const (
	maxBody       = 8 << 20
	maxImportBody = 32 << 20
	// A phone at the far end of a gym is slow, and a reader that never ends must not hold a connection.
	bodyTimeout = time.Minute
)

const (
	typeJSON    = "application/json"
	typeProblem = "application/problem+json"
	typeCSV     = "text/csv"
	typeXLSX    = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	root        = "/api/v1"
)

// server is what the handlers share.
type server struct {
	clinic   *clinic.Clinic
	log      *slog.Logger
	api      huma.API
	readings *encodedCache
	check    func() []score.RuleCheck
}

// Register puts the API and its documentation on the router: everything under /api. It recovers from
// panics of its own handlers and sets its own security headers. log may be nil.
func Register(router *gin.Engine, c *clinic.Clinic, version string, log *slog.Logger) {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	setUpHuma()
	s := &server{clinic: c, log: log, readings: newEncodedCache(maxEncoded), check: sync.OnceValue(c.Scorer().Check)}
	group := router.Group("/", s.guard)
	s.api = humagin.NewWithGroup(router, group, config(version))
	s.teams()
	s.athletes()
	s.screens()
	s.entries()
	s.scores()
	s.charts()
	s.protocol()
	s.transfer()
	s.days()
	s.courses()
	s.followUps()
	s.readiness()
	s.explanations()
	s.squads()
	s.retests()
	s.consents()
	s.privacy()
	describe(s.api.OpenAPI())
	s.docs(group)
}

// setUpHuma sets what huma keeps for the whole process.
var setUpHuma = sync.OnceFunc(func() {
	huma.NewError = func(status int, msg string, errs ...error) huma.StatusError {
		return requestProblem(nil, status, msg, errs)
	}
	huma.NewErrorWithContext = func(ctx huma.Context, status int, msg string, errs ...error) huma.StatusError {
		return requestProblem(ctx, status, msg, errs)
	}
	huma.ValidateStrictCasing = true // "Trials" is not "trials": two such fields would overwrite each other
})

func config(version string) huma.Config {
	registry := huma.NewMapRegistry("#/components/schemas/", schemaName)
	format := huma.Format{Marshal: writeJSON, Unmarshal: readJSON}
	return huma.Config{
		OpenAPI: &huma.OpenAPI{
			OpenAPI: "3.1.0",
			Info: &huma.Info{Title: "evenhand", Version: version,
				Description: "Screens of young overhead throwers: records, scores, charts. A screen is not a diagnosis."},
			Components: &huma.Components{Schemas: registry},
		},
		Formats:                      map[string]huma.Format{typeJSON: format, "json": format}, // the latter for …+json
		DefaultFormat:                typeJSON,
		RejectUnknownQueryParameters: true,
	}
}

// schemaName tells apart the types that have one name in two packages.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	path := t.PkgPath()
	switch {
	case strings.HasSuffix(path, "/exchange") && name == "Question":
		return "DocumentQuestion"
	case strings.HasSuffix(path, "/score") && name == "Step":
		return "ExplanationStep"
	case strings.HasSuffix(path, "/study"):
		return "Retest" + name
	}
	return name
}

// person is who acts, as the server before the API found out; nobody if it did not.
func person(ctx context.Context) clinic.Person { return access.From(ctx) }

// route describes an operation. places says where the fields of a fault stand in the request, if that
// is not the body's field of the same name.
type route struct {
	method, path  string
	id, tag       string
	summary, text string
	status        int // of success; 0: 200
	created       bool
	conditional   bool // answers 304
	limit         int64
	errors        []int
	request       *huma.RequestBody
	responses     map[string]*huma.Response
	rawBody       bool // the handler checks the body itself
	places        []place
}

// add registers a handler. Whatever error it returns becomes a problem document here.
func add[I, O any](s *server, r route, handler func(context.Context, *I) (*O, error)) {
	op := huma.Operation{Method: r.method, Path: root + r.path, OperationID: r.id, Tags: []string{r.tag},
		Summary: r.summary, Description: r.text, DefaultStatus: r.status, Errors: r.errors, RequestBody: r.request,
		Responses: r.responses, SkipValidateBody: r.rawBody, BodyReadTimeout: bodyTimeout,
		Metadata: map[string]any{registryKey: s.api.OpenAPI().Components.Schemas}}
	if op.Responses == nil {
		op.Responses = map[string]*huma.Response{}
	}
	if r.limit == 0 {
		r.limit = maxBody
	}
	op.MaxBodyBytes = r.limit + 1 // huma refuses a body that has as many
	if r.method != http.MethodGet {
		op.Errors = append(op.Errors, http.StatusBadRequest, http.StatusRequestTimeout, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)
		op.Middlewares = huma.Middlewares{func(ctx huma.Context, next func(huma.Context)) { s.limitBody(ctx, r.limit, next) }}
	}
	if strings.Contains(r.path, "{") {
		op.Errors = append(op.Errors, http.StatusNotFound)
	}
	op.Errors = append(op.Errors, http.StatusUnauthorized, http.StatusForbidden, http.StatusUnprocessableEntity, http.StatusInternalServerError, http.StatusInsufficientStorage)
	if r.conditional {
		op.Responses["304"] = &huma.Response{Description: "The version named in If-None-Match is the current one"}
	}
	huma.Register(s.api, op, func(ctx context.Context, in *I) (*O, error) {
		out, err := handler(ctx, in)
		if err != nil {
			return nil, s.problem(ctx, &op, r.places, err)
		}
		return out, nil
	})
	if r.created { // by the same form as an answer to a change
		created := *op.Responses["200"]
		created.Description = "Created"
		op.Responses["201"] = &created
	}
}

// limitBody refuses a body that says it is too large before any of it is read. huma refuses one that
// does not say so after as many bytes as are allowed.
func (s *server) limitBody(ctx huma.Context, limit int64, next func(huma.Context)) {
	if humagin.Unwrap(ctx).Request.ContentLength > limit {
		ctx.SetHeader("Connection", "close")
		_ = huma.WriteErr(s.api, ctx, http.StatusRequestEntityTooLarge, "") // nobody is left to tell
		return
	}
	next(ctx)
}
