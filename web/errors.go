package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// errorPage says what was wrong and what would be right.
type errorPage struct {
	Head
	Status int
	Text   string
	Want   string
	Faults []screen.Fault
}

func (*errorPage) file() string { return "error.html" }

// statuses is the one place where a problem becomes an HTTP status.
var statuses = map[screen.Code]int{
	screen.NotFound:  http.StatusNotFound,
	screen.Conflict:  http.StatusConflict,
	screen.Stale:     http.StatusConflict,
	screen.Forbidden: http.StatusForbidden,
	screen.Unknown:   http.StatusUnauthorized,
	screen.Invalid:   http.StatusUnprocessableEntity,
	screen.Full:      http.StatusInsufficientStorage,
}

// fail shows the page for an error. Only problems and faults are shown in words; what went wrong
// inside is logged.
func (s *server) fail(ctx *gin.Context, err error) {
	var problem *screen.Problem
	var faults screen.Faults
	var large *http.MaxBytesError
	p := &errorPage{}
	wait, slow := office.Throttled(err)
	switch {
	case slow:
		retryAfter(ctx, wait)
		p.Status, p.Text, p.Want = http.StatusTooManyRequests, "there were too many tries", "wait "+waitWords(wait)+", then try again"
	case errors.As(err, &problem):
		p.Status, p.Text, p.Want = statusOf(problem), problem.Text, problem.Want
	case errors.As(err, &faults):
		p.Status, p.Text, p.Faults = http.StatusUnprocessableEntity, "The input cannot be taken as it is. Nothing was changed.", faults
	case errors.As(err, &large):
		p.Status, p.Text = http.StatusRequestEntityTooLarge, "the input is too large, nothing was changed"
		p.Want = fmt.Sprintf("at most %d MB at a time: split it, by team or by season", large.Limit>>20)
	case errors.Is(err, context.Canceled):
		ctx.Abort() // nobody is there any more to read an answer
		return
	default:
		s.log.ErrorContext(ctx.Request.Context(), "page failed", "route", ctx.FullPath(), "error", err.Error())
		p.Status, p.Text = http.StatusInternalServerError, "something went wrong inside evenhand"
		p.Want = "try again; if it stays so, ask who runs this evenhand to look into its log"
	}
	p.Text = upperFirst(strings.TrimSuffix(p.Text, ".")) + "."
	p.Want = upperFirst(p.Want)
	p.Title = titleOf(p.Status)
	s.show(ctx, p.Status, p)
}

func statusOf(p *screen.Problem) int {
	if n, ok := statuses[p.Code]; ok {
		return n
	}
	return http.StatusInternalServerError
}

func titleOf(status int) string {
	switch status {
	case http.StatusNotFound:
		return "Not found"
	case http.StatusUnauthorized:
		return "Nobody is signed in"
	case http.StatusForbidden:
		return "Not allowed"
	case http.StatusConflict:
		return "Changed in the meantime"
	case http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge:
		return "Not taken"
	case http.StatusTooManyRequests:
		return "Too many tries"
	}
	return "Not working"
}

// noRoute answers for addresses that nobody serves.
func (s *server) noRoute(ctx *gin.Context) {
	if strings.HasPrefix(ctx.Request.URL.Path, "/api/") {
		ctx.Header("Content-Type", "application/problem+json")
		ctx.String(http.StatusNotFound, `{"title":"Not Found","status":404,"detail":"there is nothing at this address"}`)
		return
	}
	s.fail(ctx, &screen.Problem{Code: screen.NotFound, Text: "there is no page at this address", Want: "start from the list of teams"})
}

// recover turns a panic into the page for an internal error.
func (s *server) recover(ctx *gin.Context) {
	defer func() {
		x := recover()
		if x == nil {
			return
		}
		if err, ok := x.(error); ok && errors.Is(err, http.ErrAbortHandler) {
			panic(x)
		}
		s.log.ErrorContext(ctx.Request.Context(), "page panicked", "route", ctx.FullPath(), "stack", string(debug.Stack()))
		if !ctx.Writer.Written() {
			s.fail(ctx, errors.New("panic"))
		}
		ctx.Abort()
	}()
	ctx.Next()
}
