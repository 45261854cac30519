package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/demo"
	"evenhand/internal/screen"
)

// batchOfDemo is how many entries a station of the demo sends at once. Questions are asked only after
// small batches; the board asks them all the same.
const batchOfDemo = 400

// demoDay sets up a screening day on today for a team of the demo, lets its stations send what they
// have so far, and returns its id. A protocol whose own stations make no sound day gets none.
func (w *world) demoDay(ctx context.Context, cl *clinic.Clinic, s *demo.Scenario, today screen.Date) (id string, err error) {
	team := s.DayTeam()
	d, err := cl.PlanDay(ctx, clinic.LocalAdministrator, team.ID)
	if err != nil {
		return "", err
	}
	d.On = today // also if midnight has passed since the squad was made
	if d, err = cl.PutDay(ctx, clinic.LocalAdministrator, d, nil, 0); err != nil {
		var f screen.Faults
		if errors.As(err, &f) {
			w.log.Warn("no screening day in the demo: the stations that the protocol proposes are at fault", "faults", f.Error())
			return "", nil
		}
		return "", err
	}
	view, err := cl.Day(ctx, clinic.LocalAdministrator, d.ID)
	if err != nil {
		return "", err
	}
	list := make([]screen.Participant, len(view.Athletes))
	for i := range view.Athletes {
		list[i] = view.Athletes[i].Participant
	}
	now, day := w.now().UTC(), s.Day(&d, list)
	if err := sendDay(ctx, cl, &d, day.Entries, now); err != nil {
		return "", err
	}
	return d.ID, measureAgain(ctx, cl, &d, day, now)
}

// leftOpen is every how many verdicts that one more placing may settle the stations have not yet looked
// at, from the first on.
const leftOpen = 5

// measureAgain lets the stations do most of what the board asks them to measure again.
func measureAgain(ctx context.Context, cl *clinic.Clinic, d *screen.Day, day *demo.Day, now time.Time) error {
	b, err := cl.Board(ctx, clinic.LocalAdministrator, d.ID)
	if err != nil {
		return err
	}
	var again []demo.DayEntry
	n := 0
	for _, q := range b.Again {
		if q.Kind != "unsettled" {
			continue
		}
		if n%leftOpen != 0 {
			again = append(again, day.MeasuredAgain(q.Athlete, q.Measure, q.Side)...)
		}
		n++
	}
	return sendDay(ctx, cl, d, again, now)
}

// sendDay sends entries as the stations' devices would, each its own in their order.
func sendDay(ctx context.Context, cl *clinic.Clinic, d *screen.Day, entries []demo.DayEntry, now time.Time) error {
	for st := range d.Stations {
		batches := map[string]*clinic.Batch{}
		var devices []string // in the order in which they first sent
		for i := range entries {
			e := &entries[i]
			if e.Station != st {
				continue
			}
			b := batches[e.Device]
			if b == nil {
				b = &clinic.Batch{Sent: now, Device: e.Device}
				batches[e.Device] = b
				devices = append(devices, e.Device)
			}
			b.Entries = append(b.Entries, stationEntry(e, now))
		}
		for _, device := range devices {
			if err := sendBatches(ctx, cl, d.Stations[st].Code, batches[device]); err != nil {
				return err
			}
		}
	}
	return nil
}

func sendBatches(ctx context.Context, cl *clinic.Clinic, code string, b *clinic.Batch) error {
	for rest := b.Entries; len(rest) > 0; {
		n := min(batchOfDemo, len(rest))
		out, err := cl.SaveEntries(ctx, clinic.LocalAdministrator, code, clinic.Batch{Sent: b.Sent, Device: b.Device, Entries: rest[:n]})
		if err != nil {
			return err
		}
		for _, r := range out.Results {
			if r.Status != clinic.EntryAdded {
				return fmt.Errorf("an entry of the demo's screening day was %s: %s %s", r.Status, r.Where, r.Problem)
			}
		}
		rest = rest[n:]
	}
	return nil
}

// stationEntry is an entry as a station sends it.
func stationEntry(e *demo.DayEntry, now time.Time) clinic.StationEntry {
	out := clinic.StationEntry{ID: e.ID, Kind: e.Kind, Athlete: e.Athlete, Examiner: e.Examiner, Taken: now.Add(-e.Ago), About: e.About,
		Side: e.Side, Trials: e.Trials, Round: e.Round, Again: e.Again, Reason: e.Reason, Answer: e.Answer, Threw: e.Threw, Hand: e.Hand}
	if p := e.Person; p != nil {
		out.Person = &clinic.WalkOn{Name: p.Name, Born: p.Born, Sex: p.Sex, Hand: p.Hands[0].Hand, Level: p.Level}
	}
	return out
}
