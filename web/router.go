package web

import (
	"encoding/json"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
)

// RouterOptions are what all that is served has in common.
type RouterOptions struct {
	Hosts []string      // names by which browsers may reach this server, besides addresses and localhost
	NewID func() string // makes ids of requests
	Log   *slog.Logger  // gets a line for each request; nil: none is written
	// Begin is called as a request begins, and what it gives as the request ends; nil: nobody counts.
	Begin func() (end func(Seen))
}

// Seen is a request that was answered, as far as it is nobody's business whose it was: the pattern of
// its route, never the address with what stands in it.
type Seen struct {
	Method string // one of HTTP's, or "other"
	Route  string // pattern; "none" if there is none
	Status int
	Bytes  int // of the answer's body
	Took   time.Duration
}

// NewRouter is the router that pages and API are registered on. All that it answers has the headers of
// SecurityHeaders and the request's id, and nothing is answered to strange names (see KnownHosts) or to
// compressed bodies. A trailing slash is not redirected: the router would do that before all of this.
func NewRouter(opt RouterOptions) *gin.Engine {
	gin.SetMode(gin.ReleaseMode)
	r := gin.New()
	r.RedirectTrailingSlash = false
	r.Use(opt.requests, SecurityHeaders(), KnownHosts(opt.Hosts...), plainBodies)
	return r
}

// requests gives each request an id of our own, never one that the client names, and puts it where the
// audit finds it; and it says what became of the request, to the log and to whoever counts. Neither
// hears an address, an id, a name or a query.
func (o *RouterOptions) requests(ctx *gin.Context) {
	start := time.Now()
	seen := Seen{Method: knownMethod(ctx.Request.Method), Route: ctx.FullPath()}
	if seen.Route == "" {
		seen.Route = "none"
	}
	id := ""
	if o.NewID != nil {
		id = o.NewID()
		ctx.Header("X-Request-Id", id)
	}
	ctx.Request = ctx.Request.WithContext(access.WithRequest(ctx.Request.Context(), access.Request{ID: id, Via: seen.Method + " " + seen.Route}))
	end := func(Seen) {}
	if o.Begin != nil {
		end = o.Begin()
	}
	defer func() { // also when a handler breaks off
		seen.Status, seen.Bytes, seen.Took = ctx.Writer.Status(), max(ctx.Writer.Size(), 0), time.Since(start)
		end(seen)
		if o.Log != nil {
			o.Log.LogAttrs(ctx.Request.Context(), slog.LevelInfo, "request", slog.String("id", id), slog.String("method", seen.Method),
				slog.String("route", seen.Route), slog.Int("status", seen.Status), slog.Int("bytes", seen.Bytes),
				slog.Float64("ms", float64(seen.Took.Microseconds())/1000))
		}
	}()
	ctx.Next()
}

// knownMethod bounds what a client can make us write down.
func knownMethod(m string) string {
	switch m {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return m
	}
	return "other"
}

// plainBodies refuses bodies that are compressed: a small one could fill the memory, and no client of
// ours sends any.
func plainBodies(ctx *gin.Context) {
	for _, v := range ctx.Request.Header.Values("Content-Encoding") {
		if v = strings.TrimSpace(v); v != "" && !strings.EqualFold(v, "identity") {
			turnAway(ctx, http.StatusUnsupportedMediaType, "media_type", "a compressed body is not taken here", "send it as it is, without Content-Encoding")
			return
		}
	}
	ctx.Next()
}

// turnAway answers before pages and API are asked: with a problem document under /api, and in plain
// words elsewhere.
func turnAway(ctx *gin.Context, status int, code, text, want string) {
	ctx.Abort()
	if !strings.HasPrefix(ctx.Request.URL.Path, "/api/") {
		ctx.String(status, "%s.\n%s.\n", upperFirst(text), upperFirst(want))
		return
	}
	doc, err := json.Marshal(map[string]any{"type": "about:blank", "title": http.StatusText(status), "status": status, "code": code, "detail": text, "want": want})
	if err != nil {
		ctx.Status(status)
		return
	}
	ctx.Data(status, "application/problem+json", doc)
}
