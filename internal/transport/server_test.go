package transport

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// Many connections that send their headers a byte at a time are cut, and others are served meanwhile.
func TestSlowHeadersAreCut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHall()
		end := serve(t, &Server{Listener: h, Handler: http.HandlerFunc(hello)})
		start := time.Now()
		const slow = 100
		var cut sync.WaitGroup
		var longest atomic.Int64
		for i := range slow {
			c := h.dial(at(fmt.Sprintf("192.168.7.9:%d", 2000+i)))
			go func() { _, _ = io.Copy(io.Discard, c) }()
			cut.Go(func() {
				defer c.Close()
				for _, b := range []byte("GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: " + strings.Repeat("x", 1000)) {
					if _, err := c.Write([]byte{b}); err != nil {
						longest.Store(max(longest.Load(), int64(time.Since(start))))
						return
					}
					time.Sleep(time.Second)
				}
			})
		}
		time.Sleep(5 * time.Second)
		if status, body := h.get(t, "192.168.7.10:40000"); status != http.StatusOK || body != "hello" {
			t.Errorf("meanwhile: %d %q", status, body)
		}
		if waited := time.Since(start); waited != 5*time.Second {
			t.Errorf("the other one waited until %v", waited)
		}
		cut.Wait()
		if d := time.Duration(longest.Load()); d < Usual.Header || d > Usual.Header+time.Second {
			t.Errorf("the last slow one was cut after %v, not after %v", d, Usual.Header)
		}
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

// A body that comes a byte at a time is cut, too.
func TestSlowBodyIsCut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHall()
		var failed atomic.Bool
		end := serve(t, &Server{Listener: h, Handler: http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			_, err := io.Copy(io.Discard, r.Body)
			failed.Store(err != nil)
		})})
		c := h.dial("192.168.7.9:1")
		go func() { _, _ = io.Copy(io.Discard, c) }()
		start := time.Now()
		_, err := io.WriteString(c, "PUT / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\n")
		for err == nil {
			time.Sleep(time.Second)
			_, err = c.Write([]byte("x"))
		}
		if d := time.Since(start); d < Usual.Read || d > Usual.Read+2*time.Second || !failed.Load() {
			t.Errorf("cut after %v; the handler saw a fault: %v", d, failed.Load())
		}
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

func TestGreedyAddressLeavesRoomForOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHall()
		limits := Usual
		limits.Total, limits.Each = 10, 4
		end := serve(t, &Server{Listener: h, Handler: http.HandlerFunc(hello), Limits: limits})
		var held []net.Conn
		for i := range 8 {
			held = append(held, h.dial(at(fmt.Sprintf("[2001:db8::%d]:900", i)))) // one network of 64 bits
		}
		if status, _ := h.get(t, "[2001:db8::99]:900"); status != 0 {
			t.Errorf("a fifth connection of the address was answered with %d", status)
		}
		if status, _ := h.get(t, "[2001:db8:0:1::1]:900"); status != http.StatusOK {
			t.Errorf("another network: %d", status)
		}
		synctest.Wait() // that one has gone
		for i := range 6 {
			held = append(held, h.dial(at(fmt.Sprintf("127.0.0.1:%d", i)))) // up to the total
		}
		synctest.Wait() // all are in
		if status, _ := h.get(t, "192.168.7.10:1"); status != 0 {
			t.Errorf("one more than the total was answered with %d", status)
		}
		for _, c := range held {
			_ = c.Close()
		}
		synctest.Wait()
		if status, _ := h.get(t, "[2001:db8::99]:900"); status != http.StatusOK {
			t.Errorf("after the others went: %d", status)
		}
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

func TestLargeHeadersAreRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHall()
		end := serve(t, &Server{Listener: h, Handler: http.HandlerFunc(hello)})
		c := h.dial("192.168.7.9:1")
		go func() {
			_, _ = io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\nX-Long: "+strings.Repeat("x", 80<<10)+"\r\n\r\n")
		}()
		line, err := bufio.NewReader(c).ReadString('\n')
		if err != nil || !strings.Contains(line, "431") {
			t.Errorf("%q %v", line, err)
		}
		_ = c.Close()
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

// events sends a line every twenty seconds until its context ends.
func events(ended chan<- error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/event-stream; charset=utf-8")
		for {
			if _, err := io.WriteString(w, ": alive\n\n"); err != nil {
				ended <- err
				return
			}
			if err := http.NewResponseController(w).Flush(); err != nil {
				ended <- err
				return
			}
			select {
			case <-r.Context().Done():
				ended <- nil
				return
			case <-time.After(20 * time.Second):
			}
		}
	}
}

// A stream outlives the limits of other answers, and ends at once when the server is told to end; a
// request that runs meanwhile is finished.
func TestShutdown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h, ended, release := newHall(), make(chan error, 1), make(chan struct{})
		var stopping, inTime atomic.Bool
		mux := http.NewServeMux()
		mux.HandleFunc("GET /events", events(ended))
		mux.HandleFunc("PUT /", func(w http.ResponseWriter, r *http.Request) {
			body, err := io.ReadAll(r.Body)
			<-release
			inTime.Store(r.Context().Err() == nil && stopping.Load())
			_, _ = fmt.Fprintf(w, "wrote %s %v", body, err)
		})
		end := serve(t, &Server{Listener: h, Handler: mux, Stopping: func() { stopping.Store(true) }})
		c := h.dial("192.168.7.9:1")
		go func() { _, _ = io.WriteString(c, "GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n") }()
		lines := bufio.NewReader(c)
		seen := 0
		go func() {
			for {
				line, err := lines.ReadString('\n')
				if err != nil {
					return
				}
				if strings.HasPrefix(line, ": alive") {
					seen++
				}
			}
		}()
		time.Sleep(time.Hour)
		synctest.Wait()
		if seen < 180 {
			t.Fatalf("%d lines in an hour", seen)
		}
		put := h.dial("192.168.7.9:2")
		answer := make(chan string, 1)
		go func() {
			_, body := ask(t, put, "PUT / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 3\r\nConnection: close\r\n\r\nabc")
			answer <- body
		}()
		synctest.Wait()
		start, over := time.Now(), make(chan error, 1)
		go func() { over <- end() }()
		if err := <-ended; err != nil || time.Since(start) > 0 {
			t.Errorf("the stream ended after %v with %v", time.Since(start), err)
		}
		time.Sleep(2 * time.Second)
		close(release)
		if body := <-answer; body != "wrote abc <nil>" || !inTime.Load() {
			t.Errorf("%q, in time: %v", body, inTime.Load())
		}
		if err := <-over; err != nil {
			t.Error(err)
		}
		if d := time.Since(start); d > Usual.Shutdown {
			t.Errorf("ended after %v", d)
		}
		_ = c.Close()
		_ = put.Close()
	})
}

// What does not end by itself is cut off, and hears of it.
func TestShutdownCutsOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h, heard := newHall(), make(chan time.Time, 1)
		end := serve(t, &Server{Listener: h, Handler: http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			<-r.Context().Done()
			heard <- time.Now()
		})})
		c := h.dial("192.168.7.9:1")
		go func() { _, _ = io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n") }()
		synctest.Wait()
		start := time.Now()
		if err := end(); err != nil {
			t.Error(err)
		}
		if d := (<-heard).Sub(start); d != Usual.Shutdown {
			t.Errorf("heard of it after %v", d)
		}
		_ = c.Close()
	})
}

// A reader that takes no more of a stream does not hold it for ever.
func TestStalledStreamIsCut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h, ended := newHall(), make(chan error, 1)
		end := serve(t, &Server{Listener: h, Handler: events(ended)})
		c := h.dial("192.168.7.9:1")
		start := time.Now()
		if _, err := io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		<-ended
		if d := time.Since(start); d > Usual.Write+time.Minute {
			t.Errorf("ended after %v", d)
		}
		_ = c.Close()
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

// The log names neither addresses nor what was sent.
func TestConnectionLog(t *testing.T) {
	log, out := logged()
	q := quiet{log}
	for _, line := range []string{
		"http: TLS handshake error from 192.168.7.9:5123: remote error: tls: unknown certificate\n",
		"http: TLS handshake error from 192.168.7.9:5123: read tcp 192.168.7.1:8484->192.168.7.9:5123: connection reset by peer\n",
		"http: panic serving 192.168.7.9:5123: Invented Name has 40 degrees\ngoroutine 1\n",
		"http: URL query contains semicolon; Invented Name\n",
	} {
		if n, err := q.Write([]byte(line)); n != len(line) || err != nil {
			t.Error(n, err)
		}
	}
	said := out.String()
	if strings.Contains(said, "192.168") || strings.Contains(said, "Invented") || strings.Count(said, "\n") != 4 || !strings.Contains(said, "unknown certificate") {
		t.Error(said)
	}
}
