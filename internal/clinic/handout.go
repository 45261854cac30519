package clinic

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// DayHandouts are the newest handouts of a screening day.
type DayHandouts struct {
	Day    screen.Day
	Team   screen.Team
	Sheets []AthleteHandout // by number
	Unmade []DayAthlete     // of whom something was entered, without a handout yet
	Empty  []DayAthlete     // of whom nothing was entered
}

// AthleteHandout is an athlete's newest handout as it was made.
type AthleteHandout struct {
	DayAthlete
	Handout screen.Handout
	Text    HandoutText
	Outdate string // why it no longer says what the record says; empty: it does
}

// Why a handout no longer says what the record says.
const (
	outdatedRecord   = "something was entered or corrected since"
	outdatedProtocol = "it was made by another protocol"
)

// Handouts are the newest handouts of a day, as they were made. Returns NotFound.
func (c *Clinic) Handouts(ctx context.Context, who Person, day string) (out DayHandouts, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Day(day), func(tx *store.Tx) error {
		view, records, err := c.dayRecords(tx, day)
		if err != nil {
			return err
		}
		newest, err := newestHandouts(tx, day)
		if err != nil {
			return err
		}
		out.Day, out.Team = view.Day, view.Team
		for i := range view.Athletes {
			a := &view.Athletes[i]
			h, made := newest[a.Athlete]
			switch rec := records[a.Athlete]; {
			case made:
				sheet := AthleteHandout{DayAthlete: *a, Handout: h, Outdate: c.outdated(&h, rec)}
				if err := json.Unmarshal(h.Body, &sheet.Text); err != nil {
					return fmt.Errorf("read handout %s: %w", h.ID, err)
				}
				out.Sheets = append(out.Sheets, sheet)
			case rec != nil:
				out.Unmade = append(out.Unmade, *a)
			default:
				out.Empty = append(out.Empty, *a)
			}
		}
		return nil
	})
	return out, err
}

func (c *Clinic) outdated(h *screen.Handout, rec *screen.Record) string {
	switch {
	case rec == nil || rec.Screen.ID != h.Screen || rec.Screen.Revision != h.Revision:
		return outdatedRecord
	case h.Hash != c.Protocol().Hash:
		return outdatedProtocol
	}
	return ""
}

// MakeHandouts makes a handout for every athlete of a day of whom something was entered, unless the
// newest one says the same already, and gives the number made. Those made before stay as they are.
// Returns NotFound.
func (c *Clinic) MakeHandouts(ctx context.Context, who Person, day string) (made int, err error) {
	err = c.write(ctx, who, access.ManageDays, gate.Day(day), func(tx *store.Tx) error {
		view, records, err := c.dayRecords(tx, day)
		if err != nil {
			return err
		}
		newest, err := newestHandouts(tx, day)
		if err != nil {
			return err
		}
		by, err := c.scoring(tx, view.Team.ID)
		if err != nil {
			return err
		}
		var list []screen.Handout
		for i := range view.Athletes {
			rec := records[view.Athletes[i].Athlete]
			if rec == nil {
				continue
			}
			h, err := c.handout(who, &view, rec, &by)
			if err != nil {
				return err
			}
			if old, ok := newest[h.Athlete]; !ok || c.outdated(&old, rec) != "" || !bytes.Equal(old.Body, h.Body) {
				list = append(list, h)
			}
		}
		made, err = tx.PutHandouts(list)
		return err
	})
	return made, err
}

func (c *Clinic) handout(who Person, view *DayView, rec *screen.Record, by *scoring) (screen.Handout, error) {
	p := c.Protocol()
	text := handoutText(by.Scorer, rec, by.Score(rec), view.Team.Name, plannedCells(p, &view.Day))
	body, err := json.Marshal(&text)
	return screen.Handout{ID: c.newID(), Day: view.Day.ID, Athlete: rec.Athlete.ID, Screen: rec.Screen.ID,
		Revision: rec.Screen.Revision, Protocol: p.NameAndVersion(), Hash: p.Hash, Made: c.now().UTC(), By: who.ID, Body: body}, err
}

// dayRecords is a day with the records of the athletes of whom something stands, by athlete.
func (c *Clinic) dayRecords(tx *store.Tx, day string) (view DayView, out map[string]*screen.Record, err error) {
	if view, err = c.dayView(tx, day); err != nil {
		return view, nil, err
	}
	list, err := recordsOf(tx, view.Athletes)
	if err != nil {
		return view, nil, err
	}
	out = make(map[string]*screen.Record, len(list))
	for _, rec := range list {
		if rec != nil && anyEntry(rec) { // a screen is made with the first entry
			out[rec.Athlete.ID] = rec
		}
	}
	return view, out, nil
}

// anyEntry reports whether anything that stands was entered at a screen.
func anyEntry(rec *screen.Record) bool {
	if len(rec.NotDone)+len(rec.Checklist) > 0 {
		return true
	}
	for i := range rec.Readings {
		if rec.Readings[i].Stands() {
			return true
		}
	}
	for i := range rec.Symptoms {
		if rec.Symptoms[i].Withdrawn == "" {
			return true
		}
	}
	return rec.Screen.ThrewIn48h != nil
}

func newestHandouts(tx *store.Tx, day string) (map[string]screen.Handout, error) {
	list, err := tx.Handouts(day)
	out := make(map[string]screen.Handout, len(list))
	for i := range list {
		out[list[i].Athlete] = list[i]
	}
	return out, err
}

// plannedCells lists what a day's stations take of each athlete.
func plannedCells(p *screen.Protocol, d *screen.Day) (out []screen.Cell) {
	for i := range d.Stations {
		out = append(out, p.Cells(&d.Stations[i])...)
	}
	return out
}
