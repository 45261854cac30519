package proof

import (
	"fmt"
	"math"
	"math/rand/v2"

	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// Squads is how well P_k with the squad's figures is calibrated, for squads of one size.
type Squads struct {
	Rule
	Athletes int         // counted in each squad
	Squads   int         // simulated
	Counted  Calibration // athletes counted in the squad's figures
	Others   Calibration // athletes scored by them and not counted in them
	Exact    Calibration // the same, by the exact posterior of a further athlete of the squad
	Protocol Calibration // the counted athletes, by the protocol's prior alone
}

// squad is the records of one simulated squad: first those counted in its figures, then the others.
type squad struct {
	visits  []*visit
	people  []person
	records []*screen.Record
	out     map[string]string
}

// othersIn is how many athletes a squad has who are scored by its figures and not counted in them.
func othersIn(n int) int { return max(2, n/5) }

func (w *world) newSquad(n int) *squad {
	q := &squad{out: map[string]string{}}
	for i := range n + othersIn(n) {
		q.visits = append(q.visits, w.newVisit(1))
		q.people = append(q.people, w.newPerson())
		if i >= n {
			q.out[squadID(i)] = "just back from injury"
		}
	}
	q.records = make([]*screen.Record, len(q.visits))
	return q
}

func squadID(i int) string { return fmt.Sprintf("a%03d", i) }

// take measures everyone.
func (q *squad) take(rng *rand.Rand) {
	for i, v := range q.visits {
		q.records[i] = v.take(rng, &q.people[i])
		q.records[i].Athlete.ID, q.records[i].Screen.Athlete = squadID(i), squadID(i)
	}
}

// SimulateSquads draws squads of n athletes whose mean and spread come from what the model takes for
// known of squads, μ ~ N(μ₀, ω₀²) and ln ω ~ N(ln ω₀, 0.5²), measure by measure, works out their figures
// and scores their athletes by them. Draws counts squads.
func SimulateSquads(p *screen.Protocol, age, n int, set Settings, measures ...string) []Squads {
	var out []Squads
	for _, b := range knownBenches(p, age, measures...) {
		all := draw(set, func(rng *rand.Rand, squads int) []Squads { return b.squads(rng, squads, n) }, addSquads)
		for _, i := range b.known() {
			if !all[i].Both() {
				out = append(out, all[i])
			}
		}
	}
	return out
}

func addSquads(sum, part []Squads) []Squads {
	if sum == nil {
		return part
	}
	for i := range sum {
		sum[i].Squads += part[i].Squads
		sum[i].Counted.add(&part[i].Counted)
		sum[i].Others.add(&part[i].Others)
		sum[i].Exact.add(&part[i].Exact)
		sum[i].Protocol.add(&part[i].Protocol)
	}
	return sum
}

func (b *bench) squads(rng *rand.Rand, squads, n int) []Squads {
	out := make([]Squads, len(b.rules))
	for i := range out {
		out[i] = Squads{Rule: b.rules[i], Athletes: n, Squads: squads}
	}
	q := b.newSquad(n)
	for range squads {
		b.squadTruth(rng, q)
		q.take(rng)
		prior := b.s.SquadPrior("t", day, q.records, score.Options{}, q.out)
		for k, rec := range q.records {
			d := q.people[k].d
			b.eachFinding(b.s.Score(rec, score.Options{Squad: prior}), func(i int, f *score.Finding) {
				if k >= n {
					out[i].Others.see(f.P, b.broken(i, d))
					if g := gridOf(prior, b.rules[i].Measure); g != nil {
						out[i].Exact.see(b.rules[i].furtherAthlete(g, f), b.broken(i, d))
					}
					return
				}
				out[i].Counted.see(f.P, b.broken(i, d))
				if b.rules[i].Known && !b.rules[i].Both() {
					out[i].Protocol.see(b.rules[i].byProtocol(f), b.broken(i, d))
				}
			})
		}
	}
	return out
}

// byProtocol is what P_k would be by the protocol's prior.
func (r *Rule) byProtocol(f *score.Finding) float64 {
	w := r.Omega * r.Omega / (r.Omega*r.Omega + f.SE*f.SE)
	return r.beyond(r.Mu+w*(f.Difference-r.Mu), math.Sqrt(w)*f.SE)
}

func (r *Rule) beyond(mean, sd float64) float64 {
	if r.Absolute {
		return stat.Beyond(r.Tau, mean, sd)
	}
	return stat.Above(r.Tau, mean, sd)
}

// gridOf is a squad's posterior for a measure, nil if there is none. All its athletes are of one kind.
func gridOf(p *score.SquadPrior, measure string) stat.Grid {
	for i := range p.Groups {
		if g := &p.Groups[i]; g.Measure == measure && g.Used {
			return g.Grid
		}
	}
	return nil
}

// furtherAthlete is P for an athlete who was not counted: given the spread ω the truth is N(μ̂, ω² + 1/W)
// before the reading, and the reading says something of ω too.
func (r *Rule) furtherAthlete(g stat.Grid, f *score.Finding) float64 {
	x, v, sum, p := f.Difference, f.SE*f.SE, 0.0, 0.0
	for k := range g {
		spread := g[k].Omega*g[k].Omega + 1/g[k].W
		total, off := spread+v, x-g[k].Mu
		weight := g[k].Weight / math.Sqrt(total) * math.Exp(-off*off/(2*total))
		w := spread / total
		sum += weight
		p += weight * r.beyond(g[k].Mu+w*off, math.Sqrt(w*v))
	}
	return ratio(p, sum)
}

// squadTruth draws everyone's true differences: for each measure, or for the sum that is looked at, a
// mean and a spread of the squad, and each athlete around it.
func (b *bench) squadTruth(rng *rand.Rand, q *squad) {
	hyper := func(mu, omega float64) (float64, float64) {
		return mu + omega*rng.NormFloat64(), omega * math.Exp(0.5*rng.NormFloat64())
	}
	for k := range q.people {
		q.people[k].left = rng.IntN(2) == 0
	}
	for i := range b.read {
		m := &b.read[i]
		if !m.known {
			continue
		}
		mu, omega := hyper(m.mu, m.omega)
		for k := range q.people {
			q.people[k].d[i] = mu + omega*rng.NormFloat64()
		}
	}
	if b.sum >= 0 {
		r := &b.rules[b.sum]
		mu, omega := hyper(r.Mu, r.Omega)
		for k := range q.people {
			r.set(&q.people[k], mu+omega*rng.NormFloat64())
		}
	}
}

// Outlier is what becomes of one athlete with a true deficit in a squad that has none.
type Outlier struct {
	Rule
	Beyond                     float64 // standard errors beyond the threshold
	N, Deficit, Clear          int
	ClearBySquad               int // P_k ≤ the clear cut-off, whatever the measurement alone says
	OthersDeficits, OthersSeen int // deficits among the squad's other athletes, none of whom has one
}

// SimulateOutlier puts one athlete with a true difference of a threshold and so many standard errors
// into squads of n whose other athletes have none: they are spread by half of what the protocol says,
// and nobody is beyond the threshold.
func SimulateOutlier(p *screen.Protocol, age, n int, beyond float64, set Settings, measures ...string) []Outlier {
	var out []Outlier
	for _, b := range knownBenches(p, age, measures...) {
		all := draw(set, func(rng *rand.Rand, squads int) []Outlier { return b.outliers(rng, squads, n, beyond) }, addOutliers)
		for _, i := range b.known() {
			if !all[i].Both() {
				out = append(out, all[i])
			}
		}
	}
	return out
}

func addOutliers(sum, part []Outlier) []Outlier {
	if sum == nil {
		return part
	}
	for i := range sum {
		sum[i].N += part[i].N
		sum[i].Deficit += part[i].Deficit
		sum[i].Clear += part[i].Clear
		sum[i].ClearBySquad += part[i].ClearBySquad
		sum[i].OthersDeficits += part[i].OthersDeficits
		sum[i].OthersSeen += part[i].OthersSeen
	}
	return sum
}

func (b *bench) outliers(rng *rand.Rand, squads, n int, beyond float64) []Outlier {
	out := make([]Outlier, len(b.rules))
	for i := range out {
		out[i] = Outlier{Rule: b.rules[i], Beyond: beyond}
	}
	q := b.newSquad(n)
	for range squads {
		for k := range q.people {
			b.healthy(rng, &q.people[k])
		}
		b.standBeyond(&q.people[0], beyond)
		q.take(rng)
		prior := b.s.SquadPrior("t", day, q.records, score.Options{}, q.out)
		for k := range 2 { // the outlier, and one of the others
			b.eachFinding(b.s.Score(q.records[k], score.Options{Squad: prior}), func(i int, f *score.Finding) {
				if k == 1 {
					out[i].OthersSeen++
					count(&out[i].OthersDeficits, f.Verdict == score.Deficit)
					return
				}
				out[i].N++
				count(&out[i].Deficit, f.Verdict == score.Deficit)
				count(&out[i].Clear, f.Verdict == score.Clear)
				count(&out[i].ClearBySquad, f.P <= b.p.Cutoffs.Clear)
			})
		}
	}
	return out
}

// healthy draws an athlete from half the protocol's spread who is beyond no threshold that is looked at.
func (b *bench) healthy(rng *rand.Rand, p *person) {
	for {
		b.truth(rng, p, 0)
		for i := range b.read {
			if m := &b.read[i]; m.known {
				p.d[i] = m.mu + (p.d[i]-m.mu)/2
			}
		}
		if b.sum >= 0 {
			r := &b.rules[b.sum]
			r.set(p, r.Mu+r.Omega/2*rng.NormFloat64())
		}
		if !b.anyBroken(b.known(), p.d) {
			return
		}
	}
}

func (b *bench) standBeyond(p *person, beyond float64) {
	for i := range b.rules {
		r := &b.rules[i]
		if b.looksAt(i) && !r.Both() {
			r.set(p, r.Tau+beyond*r.SE)
		}
	}
}
