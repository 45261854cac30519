package transport

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"testing"
	"time"
)

var silent = slog.New(slog.DiscardHandler)

// hall is a listener without a network, so that tests have a clock of their own: connections are pipes,
// from whatever address the test says.
type hall struct {
	queue chan net.Conn
	once  sync.Once
	shut  chan struct{}
}

func newHall() *hall { return &hall{queue: make(chan net.Conn), shut: make(chan struct{})} }

func (h *hall) Accept() (net.Conn, error) {
	select {
	case c := <-h.queue:
		return c, nil
	case <-h.shut:
		return nil, net.ErrClosed
	}
}

func (h *hall) Close() error   { h.once.Do(func() { close(h.shut) }); return nil }
func (h *hall) Addr() net.Addr { return at("127.0.0.1:8484") }

type at string

func (a at) Network() string { return "tcp" }
func (a at) String() string  { return string(a) }

type pipe struct {
	net.Conn
	from at
}

func (p pipe) RemoteAddr() net.Addr { return p.from }

func (h *hall) dial(from at) net.Conn {
	ours, theirs := net.Pipe()
	h.queue <- pipe{theirs, from}
	return ours
}

// get asks for a page on a new connection.
func (h *hall) get(t *testing.T, from at) (status int, body string) {
	t.Helper()
	c := h.dial(from)
	defer c.Close()
	return ask(t, c, "GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
}

// ask sends a request and reads its answer; status 0: the connection was closed.
func ask(t *testing.T, c net.Conn, request string) (status int, body string) {
	t.Helper()
	if _, err := io.WriteString(c, request); err != nil {
		return 0, ""
	}
	r, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return 0, ""
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		return 0, ""
	}
	return r.StatusCode, string(b)
}

func hello(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "hello") }

// serve runs a server; end tells it to end and waits for it.
func serve(t *testing.T, s *Server) (end func() error) {
	t.Helper()
	if s.Log == nil {
		s.Log = silent
	}
	if s.Limits == (Limits{}) {
		s.Limits = Usual
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx) }()
	return func() error { cancel(); return <-done }
}

type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

func logged() (*slog.Logger, fmt.Stringer) {
	b := &safeBuffer{}
	return slog.New(slog.NewTextHandler(b, nil)), b
}

type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}
