package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"evenhand/internal/clinic"
)

// StationPath names a station by what its link ends in.
type StationPath struct {
	Code string `path:"code"`
}

func (s *server) stations() {
	registry := s.api.OpenAPI().Components.Schemas
	add(s, route{method: http.MethodGet, path: "/stations/{code}", id: "get-station", tag: "stations", summary: "All that a station needs, also without network",
		conditional: true, responses: answer(registry, typeJSON, clinic.StationSheet{})}, s.getStation)
	add(s, route{method: http.MethodPut, path: "/stations/{code}/entries", id: "put-entries", tag: "stations", summary: "Take in what a station entered",
		text: "Each entry is added, already there, or refused with what is wrong with it; a refused one does not hold up the others. The same entries sent twice are one."}, s.putEntries)
	add(s, route{method: http.MethodGet, path: "/stations/{code}/events", id: "watch-station", tag: "stations", summary: "Tells of every change of the station's day",
		text: "A stream of server-sent events named changed.", responses: eventStream()}, s.watchStation)
}

// getStation is asked by every device after every change of the day. The ETag is of the content but
// for the clock.
func (s *server) getStation(ctx context.Context, in *struct {
	StationPath
	Cached
},
) (*encoded, error) {
	sheet, err := s.clinic.Station(ctx, person(ctx), in.Code)
	if err != nil {
		return nil, err
	}
	now := sheet.Now
	sheet.Now = time.Time{}
	body, err := json.Marshal(sheet)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(body)
	tag := `"` + hex.EncodeToString(sum[:8]) + `"`
	if err := in.unless(tag); err != nil {
		return nil, err
	}
	sheet.Now = now
	body, err = json.Marshal(sheet)
	return &encoded{typeJSON, tag, body}, err
}

func (s *server) putEntries(ctx context.Context, in *struct {
	StationPath
	Body clinic.Batch
},
) (*struct{ Body clinic.BatchResult }, error) {
	out, err := s.clinic.SaveEntries(ctx, person(ctx), in.Code, in.Body)
	return &struct{ Body clinic.BatchResult }{out}, err
}

func (s *server) watchStation(ctx context.Context, in *StationPath) (*huma.StreamResponse, error) {
	day, err := s.clinic.DayOfStation(ctx, person(ctx), in.Code)
	if err != nil {
		return nil, err
	}
	return s.events(day, func(ctx context.Context) (int, error) { return s.clinic.StationSeq(ctx, person(ctx), in.Code) }), nil
}

func (s *server) watchDay(ctx context.Context, in *DayPath) (*huma.StreamResponse, error) {
	seq := func(ctx context.Context) (int, error) { return s.clinic.DaySeq(ctx, person(ctx), in.Day) }
	if _, err := seq(ctx); err != nil {
		return nil, err
	}
	return s.events(in.Day, seq), nil
}

const typeEvents = "text/event-stream"

func eventStream() map[string]*huma.Response {
	return map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{
		typeEvents: {Schema: &huma.Schema{Type: huma.TypeString}}}}}
}

// A line now and then keeps the connection from being taken for dead, and lets the server notice one
// that is.
const aliveEvery = 20 * time.Second

// Ten stations at work change the day ten times a second; nobody needs to be told that often.
const tellEvery = 250 * time.Millisecond

// events tells of changes until the client goes away, the server stops, or seq says that the client may
// no longer be told: a session ended or a link revoked meanwhile.
func (s *server) events(day string, seq func(context.Context) (int, error)) *huma.StreamResponse {
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		ctx.SetHeader("Content-Type", typeEvents)
		ctx.SetHeader("Cache-Control", "no-store")
		ctx.SetHeader("X-Accel-Buffering", "no")
		w := ctx.BodyWriter()
		changed, stop := s.clinic.WatchDay(day)
		defer stop()
		alive := time.NewTicker(aliveEvery)
		defer alive.Stop()
		line := "retry: 2000\n: connected\n\n"
		calm := time.NewTimer(0)
		defer calm.Stop()
		for {
			if _, err := io.WriteString(w, line); err != nil {
				return
			}
			if f, ok := w.(http.Flusher); ok {
				f.Flush()
			}
			select {
			case <-ctx.Context().Done():
				return
			case <-alive.C:
				line = ": alive\n\n"
			case <-changed:
				calm.Reset(tellEvery)
				select {
				case <-ctx.Context().Done():
					return
				case <-calm.C:
				}
				n, err := seq(ctx.Context())
				if err != nil {
					return
				}
				line = fmt.Sprintf("event: changed\ndata: {\"seq\":%d}\n\n", n)
			}
		}
	}}
}
