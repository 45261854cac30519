package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"evenhand/internal/screen"
)

// Problem is a problem document of RFC 9457.
type Problem struct {
	Type    string  `json:"type" doc:"always about:blank: status and code say what kind of problem it is"`
	Title   string  `json:"title"`
	Status  int     `json:"status"`
	Code    string  `json:"code" enum:"bad_request,unknown,forbidden,not_found,not_acceptable,timeout,too_many,conflict,stale,too_large,media_type,invalid,precondition,full,internal" doc:"what kind of problem it is, for programs"`
	Detail  string  `json:"detail" doc:"what was wrong"`
	Want    string  `json:"want,omitempty" doc:"what would be right"`
	Errors  []Fault `json:"errors,omitempty" nullable:"false" doc:"every fault of the request, at most 100"`
	Request string  `json:"request_id,omitempty" doc:"the number of the entry in the log, for an internal error"`
}

// Fault is one thing that is wrong with a request.
type Fault struct {
	Location string `json:"location" doc:"such as body.readings[3].trials[1], path.team, query.limit, header.If-Match, or row and column of a file"`
	Message  string `json:"message"`
	Value    any    `json:"value,omitempty" doc:"what stood there"`
	Want     string `json:"want,omitempty" doc:"what would be right"`
}

// The codes of problems.
const (
	codeBadRequest   = "bad_request"
	codeUnknown      = "unknown"
	codeForbidden    = "forbidden"
	codeNotFound     = "not_found"
	codeAcceptable   = "not_acceptable"
	codeTimeout      = "timeout"
	codeConflict     = "conflict"
	codeStale        = "stale"
	codeTooLarge     = "too_large"
	codeMediaType    = "media_type"
	codeInvalid      = "invalid"
	codePrecondition = "precondition"
	codeFull         = "full"
	codeInternal     = "internal"
)

// maxFaults is how many faults of one request are told.
const maxFaults = 100

var statusCodes = map[int]string{
	http.StatusBadRequest: codeBadRequest, http.StatusForbidden: codeForbidden, http.StatusUnauthorized: codeUnknown, http.StatusNotFound: codeNotFound,
	http.StatusNotAcceptable: codeAcceptable, http.StatusRequestTimeout: codeTimeout, http.StatusConflict: codeConflict,
	http.StatusPreconditionFailed: codeStale, http.StatusRequestEntityTooLarge: codeTooLarge,
	http.StatusUnsupportedMediaType: codeMediaType, http.StatusUnprocessableEntity: codeInvalid,
	http.StatusPreconditionRequired: codePrecondition, http.StatusInsufficientStorage: codeFull, http.StatusInternalServerError: codeInternal,
}

// problemStatus is the one place where the codes of use cases become HTTP statuses.
var problemStatus = map[screen.Code]int{
	screen.NotFound: http.StatusNotFound, screen.Conflict: http.StatusConflict, screen.Stale: http.StatusPreconditionFailed,
	screen.Forbidden: http.StatusForbidden, screen.Unknown: http.StatusUnauthorized, screen.Invalid: http.StatusUnprocessableEntity, screen.Full: http.StatusInsufficientStorage,
}

func (p *Problem) Error() string { return p.Detail }

// GetStatus is the HTTP status, for huma.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType is that of problem documents, for huma.
func (p *Problem) ContentType(string) string { return typeProblem }

// finish fills in what follows from the status.
func (p *Problem) finish() *Problem {
	p.Type, p.Title = "about:blank", http.StatusText(p.Status)
	if p.Code == "" {
		p.Code = statusCodes[p.Status]
	}
	if n := len(p.Errors); n > maxFaults {
		p.Errors = append(p.Errors[:maxFaults:maxFaults], Fault{Message: fmt.Sprintf("and %d more", n-maxFaults), Want: "put the faults above right first"})
	}
	if p.Detail == "" {
		p.Detail = p.Title
		if n := len(p.Errors); n > 0 {
			p.Detail = p.Errors[0].Message
		}
	}
	return p
}

func internal(request string) *Problem {
	return (&Problem{Status: http.StatusInternalServerError, Detail: "something went wrong inside evenhand; nothing was changed", Request: request}).finish()
}

// place says where a fault's field stands in a request: faults at from, or below it, are told at to.
type place struct{ from, to string }

// problem turns an error of a use case into a problem document.
func (s *server) problem(ctx context.Context, op *huma.Operation, places []place, err error) error {
	var known *Problem
	var faults screen.Faults
	var p *screen.Problem
	var headers huma.HeadersError
	switch {
	case errors.As(err, &headers): // not an error but a 304
		return err
	case errors.As(err, &known):
		return known.finish()
	case errors.As(err, &faults):
		return faultsProblem(faults, around(err, faults), places).finish()
	case errors.As(err, &p) && problemStatus[p.Code] != 0:
		out := &Problem{Status: problemStatus[p.Code], Detail: p.Text, Want: p.Want}
		if at := locate(around(err, p), places); at != "body" && p.Code == screen.Invalid {
			out.Errors = []Fault{{Location: at, Message: p.Text, Want: p.Want}}
		}
		return out.finish()
	case ctx.Err() != nil: // the client has gone: nobody reads the answer
		return internal("")
	}
	id := s.requestID(ctx)
	s.log.ErrorContext(ctx, "internal error in the API", slog.String("request", id), slog.String("method", op.Method),
		slog.String("route", op.Path), slog.String("type", fmt.Sprintf("%T", innermost(err))))
	return internal(id)
}

// innermost is the innermost error: its type tells more than that of what it was wrapped in.
func innermost(err error) error {
	for {
		inner := errors.Unwrap(err)
		if inner == nil {
			return err
		}
		err = inner
	}
}

// around is the place that err was wrapped with, as in "screens[3]: …".
func around(err, inner error) string {
	at, ok := strings.CutSuffix(err.Error(), ": "+inner.Error())
	if !ok {
		return ""
	}
	return at
}

func faultsProblem(faults screen.Faults, at string, places []place) *Problem {
	out := &Problem{Status: http.StatusUnprocessableEntity}
	for _, f := range faults {
		where := f.Where
		if at != "" {
			where = strings.TrimSuffix(at+"."+where, ".")
		}
		x := Fault{Location: locate(where, places), Message: f.Problem, Want: f.Want}
		if f.Value != "" {
			x.Value = f.Value
		}
		out.Errors = append(out.Errors, x)
	}
	return out
}

// locate is where a field of a use case stands in the request: in the body, unless places say
// otherwise. Rows of a file are named as they are.
func locate(where string, places []place) string {
	if strings.HasPrefix(where, "row ") {
		return where
	}
	for _, p := range places {
		rest, ok := strings.CutPrefix(where, p.from)
		if ok && (rest == "" || rest[0] == '.' || rest[0] == '[' || strings.HasSuffix(p.from, ".")) && (p.from != "" || rest == "") {
			return p.to + rest
		}
	}
	if where == "" {
		return "body"
	}
	return "body." + where
}
