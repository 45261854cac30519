package clinic

import (
	"context"
	"fmt"
	"testing"

	"evenhand/internal/screen"
)

// fullDay is a day with sixty athletes at the protocol's own stations, all of whom were measured.
func fullDay(b *testing.B) *dayRig {
	b.Helper()
	r := newDay(b, 60)
	d := must[screen.Day](b)(r.PlanDay(context.Background(), boss, "t1"))
	d.ID = "d1"
	d.Stations[1].Code = "SHOULDER"
	v := must[DayView](b)(r.Day(context.Background(), boss, "d1"))
	r.day = must[screen.Day](b)(r.PutDay(context.Background(), boss, d, nil, v.Day.Revision))
	for i := range r.day.Stations {
		st := &r.day.Stations[i]
		for _, a := range v.Athletes {
			r.added(st.Code, r.everything(a.Athlete, st)...)
		}
	}
	return r
}

// everything is what a station takes of an athlete.
func (r *dayRig) everything(athlete string, st *screen.Station) (out []StationEntry) {
	for _, c := range r.Protocol().Cells(st) {
		m := r.Protocol().Measure(c.About)
		switch {
		case c.About == screen.CheckInCell:
			out = append(out, r.entry(screen.DayCheckIn, athlete, ""))
		case m == nil:
			e := r.entry(screen.DayAnswer, athlete, c.About)
			e.Answer = screen.Met
			out = append(out, e)
		default:
			v := 1.0
			if len(m.Typical) == 2 {
				v = float64(int((m.Typical[0] + m.Typical[1]) / 2))
			}
			trials := make([]float64, m.Trials.Planned)
			for k := range trials {
				trials[k] = v
			}
			out = append(out, r.reading(athlete, m.ID, c.Side, trials...))
		}
	}
	return out
}

func BenchmarkStationEntry(b *testing.B) {
	r := fullDay(b)
	i := 0
	for b.Loop() {
		i++
		e := r.reading(fmt.Sprintf("a%02d", i%60+1), irID, screen.Left, 52, 53)
		e.Again = true
		out := r.save("SHOULDER", e)
		if out.Results[0].Status == EntryAdded {
			u := r.entry(screen.DayUndo, e.Athlete, "")
			u.Undoes = e.ID
			b.StopTimer()
			r.save("SHOULDER", u)
			b.StartTimer()
		}
	}
}

func BenchmarkStationSheet(b *testing.B) {
	r := fullDay(b)
	for b.Loop() {
		r.sheet("SHOULDER")
	}
}

func BenchmarkBoard(b *testing.B) {
	r := fullDay(b)
	for b.Loop() {
		r.board()
	}
}
