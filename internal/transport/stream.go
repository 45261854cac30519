package transport

import (
	"context"
	"mime"
	"net/http"
	"time"
)

// streams is a handler that tells event streams from other answers. A stream has no end of its own:
// its time limit counts from event to event, and it ends at once when the server is told to end.
type streams struct {
	next     http.Handler
	stopping context.Context //nolint:containedctx // it ends when the server is told to end
	write    time.Duration
}

func (s *streams) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	out := &answer{ResponseWriter: w, of: s, cancel: cancel}
	defer out.end()
	s.next.ServeHTTP(out, r.WithContext(ctx))
}

// answer is a response that may turn out to be an event stream.
type answer struct {
	http.ResponseWriter
	of      *streams
	cancel  context.CancelFunc
	begun   bool
	stream  bool
	forget  func() bool
	control *http.ResponseController
}

// Unwrap is for http.ResponseController.
func (a *answer) Unwrap() http.ResponseWriter { return a.ResponseWriter }

func (a *answer) WriteHeader(status int) {
	a.begin()
	a.ResponseWriter.WriteHeader(status)
}

func (a *answer) Write(p []byte) (int, error) {
	a.begin()
	a.more()
	return a.ResponseWriter.Write(p)
}

// Flush is asked for by type by routers, which do not look at Unwrap.
func (a *answer) Flush() {
	a.begin()
	a.more()
	_ = http.NewResponseController(a.ResponseWriter).Flush() // the next write tells what is wrong
}

// begin looks at the headers once, when they are sent.
func (a *answer) begin() {
	if a.begun {
		return
	}
	a.begun = true
	kind, _, err := mime.ParseMediaType(a.Header().Get("Content-Type"))
	if err != nil || kind != "text/event-stream" {
		return
	}
	a.stream = true
	a.control = http.NewResponseController(a.ResponseWriter)
	_ = a.control.SetReadDeadline(time.Time{}) // else the server would take the client for gone; a recorder in a test has none
	a.forget = context.AfterFunc(a.of.stopping, a.cancel)
}

// more gives a stream time for what is written next.
func (a *answer) more() {
	if a.stream && a.of.write > 0 {
		_ = a.control.SetWriteDeadline(time.Now().Add(a.of.write))
	}
}

func (a *answer) end() {
	if a.forget != nil {
		a.forget()
	}
}
