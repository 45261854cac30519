package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"testing"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// benchDay is a server with 100,000 screens on file and a screening day of sixty athletes in progress.
type benchDay struct {
	b    *testing.B
	url  string
	day  screen.Day
	list []clinic.DayAthlete
}

func newBenchDay(b *testing.B) *benchDay {
	b.Helper()
	w := &world{now: time.Now, newID: newID, log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	o := bigFile(b, w)
	cl := o.clinic
	h, err := w.handler(o, &serving{visited: true})
	if err != nil {
		b.Fatal(err)
	}
	ctx := context.Background()
	d, err := cl.PlanDay(ctx, clinic.LocalAdministrator, "T00")
	if err == nil {
		d, err = cl.PutDay(ctx, clinic.LocalAdministrator, d, nil, 0)
	}
	if err != nil {
		b.Fatal(err)
	}
	v, err := cl.Day(ctx, clinic.LocalAdministrator, d.ID)
	if err != nil {
		b.Fatal(err)
	}
	srv := httptest.NewServer(h)
	b.Cleanup(srv.CloseClientConnections)
	b.Cleanup(srv.Close)
	return &benchDay{b, srv.URL, d, v.Athletes}
}

// entry is the n-th reading that is taken, at the second station.
func (d *benchDay) entry(n int) clinic.StationEntry {
	steps := d.day.Stations[1].Steps
	step := steps[n/2%(len(steps)-1)]
	return clinic.StationEntry{ID: newID(), Kind: screen.DayReading, Athlete: d.list[n/len(steps)%len(d.list)].Athlete, Examiner: "K", Again: true,
		Taken: time.Now(), About: step.Measure, Side: []screen.Side{screen.Left, screen.Right}[n%2], Trials: []float64{70, 71}}
}

func (d *benchDay) send(entries ...clinic.StationEntry) (time.Duration, error) {
	body, err := json.Marshal(clinic.Batch{Sent: time.Now(), Device: "bench", Entries: entries})
	if err != nil {
		return 0, err
	}
	req, err := http.NewRequestWithContext(context.Background(), http.MethodPut, d.url+"/api/v1/stations/"+d.day.Stations[1].Code+"/entries", bytes.NewReader(body))
	if err != nil {
		return 0, err
	}
	req.Header.Set("Content-Type", "application/json")
	begin := time.Now()
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, err
	}
	answer, err := io.ReadAll(res.Body)
	took := time.Since(begin)
	if closing := res.Body.Close(); err == nil {
		err = closing
	}
	if err == nil && (res.StatusCode != http.StatusOK || bytes.Contains(answer, []byte(`"refused"`))) {
		err = fmt.Errorf("%d: %.300s", res.StatusCode, answer)
	}
	return took, err
}

// tablet sends a reading a second, and reads the sheet anew after changes, at most every two seconds,
// as the page does.
func (d *benchDay) tablet(k, seconds int, took chan<- time.Duration, failed chan<- error) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	time.Sleep(time.Duration(k) * 97 * time.Millisecond)
	for i := range seconds {
		t, err := d.send(d.entry(k*seconds + i))
		if err != nil {
			failed <- err
			return
		}
		took <- t
		if i%2 == 0 {
			res, err := http.Get(d.url + "/api/v1/stations/" + d.day.Stations[1].Code)
			if err != nil {
				failed <- err
				return
			}
			_, err = io.Copy(io.Discard, res.Body)
			if closing := res.Body.Close(); err != nil || closing != nil {
				failed <- fmt.Errorf("%w %w", err, closing)
				return
			}
		}
		<-tick.C
	}
}

// BenchmarkTenTablets is ten tablets that send one reading a second each, for twenty seconds.
func BenchmarkTenTablets(b *testing.B) {
	const tablets, seconds = 10, 20
	d := newBenchDay(b)
	for b.Loop() {
		took, failed := make(chan time.Duration, tablets*seconds), make(chan error, tablets)
		var all sync.WaitGroup
		for k := range tablets {
			all.Go(func() { d.tablet(k, seconds, took, failed) })
		}
		all.Wait()
		close(took)
		select {
		case err := <-failed:
			b.Fatal(err)
		default:
		}
		var list []time.Duration
		for t := range took {
			list = append(list, t)
		}
		slices.Sort(list)
		ms := func(q float64) float64 { return list[int(q*float64(len(list)-1))].Seconds() * 1e3 }
		b.ReportMetric(ms(0.5), "ms-median")
		b.ReportMetric(ms(0.99), "ms-p99")
		b.ReportMetric(ms(1), "ms-most")
	}
}

// BenchmarkSync is 2,000 entries that a tablet kept without network, sent as it sends them.
func BenchmarkSync(b *testing.B) {
	d := newBenchDay(b)
	for b.Loop() {
		b.StopTimer()
		var list []clinic.StationEntry
		for n := range 2000 {
			e := d.entry(n)
			e.Kind, e.About, e.Side, e.Trials = screen.DayAnswer, "stride_length", screen.NoSide, nil
			e.Answer = screen.Met
			if n%2 == 0 { // a cell holds no more than twenty readings
				e = d.entry(n)
				e.Kind, e.Trials, e.Reason = screen.DayNotDone, nil, screen.ReasonNoTime
			}
			list = append(list, e)
		}
		b.StartTimer()
		for part := range slices.Chunk(list, 200) {
			if _, err := d.send(part...); err != nil {
				b.Fatal(err)
			}
		}
	}
}
