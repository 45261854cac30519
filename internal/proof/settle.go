package proof

import (
	"math"
	"math/rand/v2"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Settled compares the stated chance that measuring again settles an unsettled finding with how often it
// does.
type Settled struct {
	Rule
	MoreTrials, NewPlacing, AnotherDay Calibration
	AloneN, Alone                      int // unsettled findings; settled by another day's visit scored by itself
}

// SimulateSettled scores athletes, measures those again of whom a finding is unsettled, and scores the
// record with the added readings. Two days together are scored by a protocol in which the day's error is
// part of the placing's: two visits then are two placings, with the same errors. Alone is the verdict of
// the other day's own screen.
func SimulateSettled(p *screen.Protocol, age int, set Settings, measures ...string) []Settled {
	var out []Settled
	for _, b := range knownBenches(p, age, measures...) {
		days := score.New(dayAsPlacing(p))
		all := draw(set, func(rng *rand.Rand, n int) []Settled { return b.settled(rng, n, days) }, addSettled)
		for _, i := range b.known() {
			out = append(out, all[i])
		}
	}
	return out
}

func dayAsPlacing(p *screen.Protocol) *screen.Protocol {
	errors := map[string]screen.Error{}
	for i := range p.Measures {
		e := p.Measures[i].Resolved
		e.Placing, e.Day = math.Hypot(e.Placing, e.Day), 0
		errors[p.Measures[i].ID] = e
	}
	return p.WithErrors(errors)
}

func addSettled(sum, part []Settled) []Settled {
	if sum == nil {
		return part
	}
	for i := range sum {
		sum[i].MoreTrials.add(&part[i].MoreTrials)
		sum[i].NewPlacing.add(&part[i].NewPlacing)
		sum[i].AnotherDay.add(&part[i].AnotherDay)
		sum[i].AloneN += part[i].AloneN
		sum[i].Alone += part[i].Alone
	}
	return sum
}

func (b *bench) settled(rng *rand.Rand, n int, days *score.Scorer) []Settled {
	out := make([]Settled, len(b.rules))
	for i := range out {
		out[i].Rule = b.rules[i]
	}
	v, p := b.newVisit(1), b.newPerson()
	chances := make([]*score.Chance, len(b.rules))
	for range n {
		b.truth(rng, &p, 0)
		if !b.chances(b.s.Score(v.take(rng, &p), score.Options{}), chances) {
			continue
		}
		b.after(b.s, v.again(rng, moreTrials), chances, func(i int, c *score.Chance, settled bool) {
			if c.MoreTrials != nil {
				out[i].MoreTrials.see(*c.MoreTrials, settled)
			}
		})
		b.after(b.s, v.again(rng, newPlacing), chances, func(i int, c *score.Chance, settled bool) {
			out[i].NewPlacing.see(c.NewPlacing, settled)
		})
		both := v.again(rng, anotherDay)
		b.after(days, both, chances, func(i int, c *score.Chance, settled bool) {
			out[i].AnotherDay.see(c.AnotherDay, settled)
		})
		both.Readings = both.Readings[len(v.rec.Readings):]
		b.after(b.s, both, chances, func(i int, _ *score.Chance, settled bool) {
			out[i].AloneN++
			count(&out[i].Alone, settled)
		})
	}
	return out
}

// chances notes the stated chances of the unsettled findings that are looked at; false if there is none.
func (b *bench) chances(rep *score.Report, out []*score.Chance) (any bool) {
	clear(out)
	b.eachFinding(rep, func(i int, f *score.Finding) {
		if b.looksAt(i) && b.rules[i].Known && f.Verdict == score.Unsettled && f.Chance != nil {
			out[i], any = f.Chance, true
		}
	})
	return any
}

// after scores a record and reports which of the findings that were unsettled are settled now.
func (b *bench) after(s *score.Scorer, rec *screen.Record, chances []*score.Chance, do func(i int, c *score.Chance, settled bool)) {
	b.eachFinding(s.Score(rec, score.Options{}), func(i int, f *score.Finding) {
		if chances[i] != nil {
			do(i, chances[i], f.Verdict != score.Unsettled)
		}
	})
}
