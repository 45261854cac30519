package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
)

// policy is what a browser may do with an answer of the API: show the documentation with the
// program's own styles, and nothing else.
const policy = "default-src 'none'; style-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"

var crossOrigin = http.NewCrossOriginProtection()

// guard stands before every handler of the API.
func (s *server) guard(c *gin.Context) {
	defer s.recover(c)
	h := c.Writer.Header()
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", policy)
	h.Set("Referrer-Policy", "no-referrer")
	// A browser keeps nothing of it, also not what has an ETag: programs that want to ask for changes only
	// keep what they have themselves. A shared laptop's folder of copies is no place for health data.
	h.Set("Cache-Control", "no-store")
	// Another site's page must not write here: a browser sends a body without a type to anybody.
	if err := crossOrigin.Check(c.Request); err != nil {
		writeProblem(c, &Problem{Status: http.StatusForbidden, Code: codeForbidden, Detail: "the request comes from a page of another site"})
		return
	}
	c.Next()
}

// recover answers a panic by a plain 500. What was thrown is not logged, only its type and where:
// it may hold what somebody entered.
func (s *server) recover(c *gin.Context) {
	v := recover()
	if v == nil {
		return
	}
	if err, ok := v.(error); ok && errors.Is(err, http.ErrAbortHandler) {
		panic(v)
	}
	id := s.requestID(c.Request.Context())
	s.log.ErrorContext(c.Request.Context(), "panic in the API", slog.String("request", id), slog.String("method", c.Request.Method),
		slog.String("route", c.FullPath()), slog.String("type", fmt.Sprintf("%T", v)), slog.String("stack", string(debug.Stack())))
	if c.Writer.Written() {
		panic(http.ErrAbortHandler) // half an answer must not look whole
	}
	writeProblem(c, internal(id))
}

// requestID is the id that the request has in the log.
func (s *server) requestID(ctx context.Context) string {
	if id := access.RequestOf(ctx).ID; id != "" {
		return id
	}
	return s.clinic.NewID()
}

// NotFound answers a request for a path under /api that is not there, with a problem document. It is
// for the router's NoRoute.
func NotFound(c *gin.Context) {
	writeProblem(c, &Problem{Status: http.StatusNotFound, Code: codeNotFound, Detail: "there is nothing at this address", Want: "see /api/docs"})
}

func writeProblem(c *gin.Context, p *Problem) {
	_ = p.finish()
	c.Abort()
	c.Header("Content-Type", typeProblem)
	c.Status(p.Status)
	_ = writeJSON(c.Writer, p) // an error is one of the connection
}
