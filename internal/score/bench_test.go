package score

import (
	"fmt"
	"testing"

	"evenhand/internal/screen"
)

// fullRecord has 80 readings of 3 trials: both sides of every paired measure of the default protocol
// that is read, and, of as many as it takes, a second time by another examiner.
func fullRecord(p *screen.Protocol, readings int) *screen.Record {
	return repeated(p, readings, func(round int) string { return fmt.Sprint("k", round) })
}

// repeated is the same with the examiner of each round given.
func repeated(p *screen.Protocol, readings int, examiner func(round int) string) *screen.Record {
	rec := &screen.Record{
		Screen: screen.Screen{ID: "s", Athlete: "a", On: "2026-02-10", Kind: screen.Preseason},
		Athlete: screen.Athlete{ID: "a", Born: "2010-06-01", Sex: screen.Male, Sport: "baseball", Level: screen.School,
			Hands: []screen.HandSince{{Hand: screen.RightHand}}},
	}
	for round := 0; len(rec.Readings) < readings; round++ {
		for i := range p.Measures {
			m := &p.Measures[i]
			if m.Derived != nil || m.Scale == screen.Category {
				continue
			}
			for _, side := range []screen.Side{screen.Left, screen.Right} {
				mid := (m.Plausible[0] + m.Plausible[1]) / 2
				if m.Typical != nil {
					mid = (m.Typical[0] + m.Typical[1]) / 2
				}
				if side == screen.Right {
					mid *= 0.93
				}
				if len(rec.Readings) < readings {
					rec.Readings = append(rec.Readings, screen.Reading{ID: fmt.Sprint("r", len(rec.Readings)), Measure: m.ID, Side: side,
						Trials: []float64{mid, mid + m.Step, mid - m.Step}, Examiner: examiner(round)})
				}
			}
		}
	}
	return rec
}

// BenchmarkScore80 is a screen of 80 readings of 3 trials. The default protocol has fewer than 40 paired
// measures that are read, so some are read twice: by one examiner, or by two, whose readings are then
// combined by generalised least squares.
func BenchmarkScore80(b *testing.B) {
	s := defaultScorer(b)
	for _, c := range []struct {
		name string
		rec  *screen.Record
	}{
		{"one examiner", repeated(s.p, 80, func(int) string { return "k" })},
		{"two examiners", fullRecord(s.p, 80)},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				s.Score(c.rec, Options{})
			}
		})
	}
}

func BenchmarkTriage60(b *testing.B) {
	s := defaultScorer(b)
	var reports []*Report
	for range 60 {
		reports = append(reports, s.Score(fullRecord(s.p, 80), Options{}))
	}
	b.ReportAllocs()
	for b.Loop() {
		s.Triage(reports)
	}
}

// squadOf60 are sixty athletes with every measure of the default protocol read on both sides, each a
// little different.
func squadOf60(s *Scorer) []*screen.Record {
	records := make([]*screen.Record, 60)
	for i := range records {
		records[i] = fullRecord(s.p, 80)
		records[i].Athlete.ID = fmt.Sprintf("a%02d", i)
		for k := range records[i].Readings {
			records[i].Readings[k].Trials[0] += float64((i*7+k*3)%11) - 5
		}
	}
	return records
}

// BenchmarkSquadPrior60 works out what is usual in a squad of sixty.
func BenchmarkSquadPrior60(b *testing.B) {
	s := defaultScorer(b)
	records := squadOf60(s)
	b.ReportAllocs()
	for b.Loop() {
		s.SquadPrior("t", "2026-02-10", records, Options{}, nil)
	}
}

// BenchmarkScoreBySquad is BenchmarkScore80 by the squad's figures, of small and of large squads: what
// is known less well is a wider mixture.
func BenchmarkScoreBySquad(b *testing.B) {
	s := defaultScorer(b)
	records := squadOf60(s)
	for _, n := range []int{12, 60} {
		prior := s.SquadPrior("t", "2026-02-10", records[:n], Options{}, nil)
		b.Run(fmt.Sprint("squad of ", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				s.Score(records[0], Options{Squad: prior})
			}
		})
	}
}
