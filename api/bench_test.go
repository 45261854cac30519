package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// serve runs the API on a port of the loopback.
func (r *rig) serve(b *testing.B) (address string, client *http.Client) {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	srv := &http.Server{Handler: r.router, ReadHeaderTimeout: 5 * time.Second}
	go func() { _ = srv.Serve(l) }() // ends with the listener
	b.Cleanup(func() { _ = srv.Close() })
	return "http://" + l.Addr().String(), &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 8}}
}

func call(b *testing.B, client *http.Client, method, url string, body []byte) int {
	b.Helper()
	req, err := http.NewRequestWithContext(b.Context(), method, url, bytes.NewReader(body))
	if err != nil {
		b.Fatal(err)
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	resp, err := client.Do(req)
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	n, err := io.Copy(io.Discard, resp.Body)
	if err != nil || resp.StatusCode >= 300 {
		b.Fatalf("%s %s: status %d, %v", method, url, resp.StatusCode, err)
	}
	return int(n)
}

// median reports the median of the times of single requests.
func median(b *testing.B, times []time.Duration) {
	b.Helper()
	slices.Sort(times)
	m := times[len(times)/2]
	b.ReportMetric(float64(m.Microseconds())/1000, "ms/median")
	b.ReportMetric(float64(times[len(times)*95/100].Microseconds())/1000, "ms/p95")
	b.ReportMetric(1/m.Seconds(), "per-s/median")
}

// eighty is 80 readings as a station sends them: 40 measures on both sides, as far as the protocol
// has as many, with three trials each.
func eighty(p *screen.Protocol, prefix string) []byte {
	var form readingsForm
	for k := 0; len(form.Readings) < 80; k++ {
		for i := range p.Measures {
			m := &p.Measures[i]
			if !m.Paired || m.Derived != nil || m.Scale == screen.Category || m.SignWords != nil || len(form.Readings) >= 80 {
				continue
			}
			mid := float64(int(m.Typical[0]+m.Typical[1]) / 2)
			for s, side := range []string{"left", "right"} {
				f := readingForm{ID: fmt.Sprintf("%s-%02d-%s-%d", prefix, i, side, k), Measure: m.ID, Side: side, Trials: []float64{mid, mid + float64(s), mid}}
				f.Examiner, f.Instrument, f.Device, f.Taken = "E1", "inclinometer", "tablet-1", noon
				form.Readings = append(form.Readings, f)
			}
		}
	}
	data, err := json.Marshal(form)
	if err != nil {
		panic(err)
	}
	return data
}

func BenchmarkPutReadings80(b *testing.B) {
	r := newRig(b).squad()
	address, client := r.serve(b)
	times := make([]time.Duration, 0, 1000)
	for i := 0; b.Loop(); i++ {
		b.StopTimer()
		id := fmt.Sprintf("S%d", i)
		r.do("PUT", "/api/v1/screens/"+id, screenBody).is(201)
		body := eighty(r.clinic.Protocol(), id)
		b.StartTimer()
		at := time.Now()
		call(b, client, http.MethodPut, address+"/api/v1/screens/"+id+"/readings", body)
		times = append(times, time.Since(at))
	}
	median(b, times)
}

func BenchmarkPutReadings80Again(b *testing.B) {
	r := newRig(b).squad()
	address, client := r.serve(b)
	body := eighty(r.clinic.Protocol(), "r")
	call(b, client, http.MethodPut, address+"/api/v1/screens/S/readings", body)
	times := make([]time.Duration, 0, 1000)
	for b.Loop() {
		at := time.Now()
		call(b, client, http.MethodPut, address+"/api/v1/screens/S/readings", body)
		times = append(times, time.Since(at))
	}
	median(b, times)
}

func BenchmarkGetReadings(b *testing.B) {
	r := newRig(b).squad()
	address, client := r.serve(b)
	call(b, client, http.MethodPut, address+"/api/v1/screens/S/readings", eighty(r.clinic.Protocol(), "r"))
	times, bytes := make([]time.Duration, 0, 1000), 0
	for b.Loop() {
		at := time.Now()
		bytes = call(b, client, http.MethodGet, address+"/api/v1/screens/S/readings", nil)
		times = append(times, time.Since(at))
	}
	b.ReportMetric(float64(bytes), "bytes/answer")
	median(b, times)
}

func BenchmarkTriage60(b *testing.B) {
	r := newRig(b).squad()
	address, client := r.serve(b)
	for i := range 60 {
		athlete, id := fmt.Sprintf("A%d", i), fmt.Sprintf("S%d", i)
		r.do("PUT", "/api/v1/athletes/"+athlete+"?team=T", athleteBody).is(201)
		r.do("PUT", "/api/v1/screens/"+id, fmt.Sprintf(`{"athlete":%q,"team":"T","on":"2026-02-09","kind":"preseason"}`, athlete)).is(201)
		r.do("PUT", "/api/v1/screens/"+id+"/readings", string(eighty(r.clinic.Protocol(), id))).is(200)
	}
	times := make([]time.Duration, 0, 1000)
	for b.Loop() {
		at := time.Now()
		call(b, client, http.MethodGet, address+"/api/v1/teams/T/triage", nil)
		times = append(times, time.Since(at))
	}
	median(b, times)
}
