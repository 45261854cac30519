package transport

import (
	"context"
	"crypto/tls"
	"errors"
	"log"
	"log/slog"
	"net"
	"net/http"
	"regexp"
	"strings"
	"time"
)

// Limits bound how long and how much a client may ask for.
type Limits struct {
	Header   time.Duration // until all headers of a request have arrived
	Read     time.Duration // until all of a request has arrived
	Write    time.Duration // until an answer has been taken; in an event stream, until one event has
	Idle     time.Duration // between two requests on one connection
	Shutdown time.Duration // for requests that run when the server is told to end
	Headers  int           // bytes of all headers of a request
	Total    int           // connections
	Each     int           // connections of one address; none are counted from this machine itself
}

// Usual are limits for a gym: files of 32 MB come over a slow wireless network, and a room of tablets
// keeps a few connections each.
var Usual = Limits{Header: 10 * time.Second, Read: 90 * time.Second, Write: 3 * time.Minute, Idle: 2 * time.Minute,
	Shutdown: 5 * time.Second, Headers: 64 << 10, Total: 1024, Each: 128}

// Server serves one listener.
type Server struct {
	Listener    net.Listener
	Handler     http.Handler
	Certificate func(*tls.ClientHelloInfo) (*tls.Certificate, error) // nil: without TLS
	Limits      Limits
	Log         *slog.Logger
	Stopping    func() // called when the server is told to end, before anything closes; may be nil
}

// Serve serves until ctx ends. Then it takes no more connections, ends event streams, lets requests that
// run finish within Limits.Shutdown, and cuts off those that did not. A request's context does not end
// with ctx: what is being written when the server is told to end is written.
func (s *Server) Serve(ctx context.Context) error {
	base, cut := context.WithCancel(context.WithoutCancel(ctx))
	defer cut()
	srv := s.server(base, &streams{next: s.Handler, stopping: ctx, write: s.Limits.Write})
	l := Limit(s.Listener, s.Limits.Total, s.Limits.Each)
	done := make(chan error, 1)
	go func() {
		if s.Certificate == nil {
			done <- srv.Serve(l)
			return
		}
		done <- srv.ServeTLS(l, "", "")
	}()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	if s.Stopping != nil {
		s.Stopping()
	}
	stop, cancel := context.WithTimeout(base, s.Limits.Shutdown)
	defer cancel()
	if err := srv.Shutdown(stop); err != nil {
		s.Log.Warn("requests were cut off that had not finished when the program was told to end")
		cut()
		return srv.Close()
	}
	return nil
}

func (s *Server) server(base context.Context, h http.Handler) *http.Server {
	srv := &http.Server{Handler: h, ReadHeaderTimeout: s.Limits.Header, ReadTimeout: s.Limits.Read, WriteTimeout: s.Limits.Write,
		IdleTimeout: s.Limits.Idle, MaxHeaderBytes: s.Limits.Headers, ErrorLog: log.New(quiet{s.Log}, "", 0),
		BaseContext: func(net.Listener) context.Context { return base }}
	if s.Certificate != nil {
		// Cipher suites, curves and the order of preference are those of Go, which are kept up to date with it.
		srv.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: s.Certificate}
	}
	return srv
}

// quiet logs what goes wrong with connections, without the addresses that they came from and without
// what a panic threw.
type quiet struct{ log *slog.Logger }

var fromAddress = regexp.MustCompile(` (?:from|serving) \S+: `)

func (q quiet) Write(p []byte) (int, error) {
	text := strings.TrimSpace(string(p))
	switch {
	case strings.HasPrefix(text, "http: panic serving"):
		q.log.Error("a handler panicked outside of what recovers from it")
	case strings.HasPrefix(text, "http: TLS handshake error"):
		text = fromAddress.ReplaceAllString(text, ": ")
		if i := strings.LastIndex(text, "->"); i >= 0 { // a broken connection names both ends
			text = "http: TLS handshake error: the connection broke"
		}
		q.log.Info(text)
	default:
		text, _, _ = strings.Cut(text, ";") // the rest may hold what was sent
		q.log.Warn(fromAddress.ReplaceAllString(text, ": "))
	}
	return len(p), nil
}

// Ended reports whether err only says that a server was closed.
func Ended(err error) bool { return err == nil || errors.Is(err, http.ErrServerClosed) }
