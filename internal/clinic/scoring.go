package clinic

import (
	"encoding/json"
	"fmt"
	"sync"

	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// heapedFrom is the number of readings from which heaping on 0 and 5 is looked for.
const heapedFrom = 50

// priorLasts is for how many days after a screening day its squad's figures serve later visits.
const priorLasts = 366

// scoring is all that a team's screens are scored with: the protocol, with the squad's own errors if
// they are switched on, whether its angles are read to 5°, and what was usual in its athletes.
type scoring struct {
	*score.Scorer
	Errors screen.ErrorSwitch // zero: the published errors
	unfit  bool               // the errors switched on are of another protocol
	heaped bool
	priors []keptPrior // newest day first
}

type keptPrior struct {
	on    screen.Date
	prior *score.SquadPrior
}

// scoring reads what a team's screens are scored with.
func (c *Clinic) scoring(tx *store.Tx, team string) (out scoring, err error) {
	five, total, err := tx.Heaping(team)
	if err != nil {
		return out, err
	}
	out.heaped = total >= heapedFrom && 10*five > 9*total
	if out.Scorer, out.Errors, err = c.scorerOf(tx, team); err != nil {
		return out, err
	}
	if out.Errors.Study != "" && out.Scorer == c.scorer {
		out.Errors, out.unfit = screen.ErrorSwitch{}, true
	}
	kept, err := tx.KeptPriors(team)
	if err != nil {
		return out, err
	}
	for i := range kept {
		p, err := c.prior(tx, kept[i].ID)
		if err != nil {
			return out, err
		}
		out.priors = append(out.priors, keptPrior{kept[i].On, p})
	}
	return out, nil
}

// recordToScore is a record with what its team's screens are scored with. Returns NotFound.
func (c *Clinic) recordToScore(tx *store.Tx, screenID string) (*screen.Record, scoring, error) {
	rec, err := tx.Record(screenID)
	if err != nil {
		return nil, scoring{}, err
	}
	by, err := c.scoring(tx, rec.Screen.Team)
	return rec, by, err
}

// Score scores a record of the team.
func (s *scoring) Score(rec *screen.Record) *score.Report {
	rep := s.Scorer.Score(rec, s.options(rec))
	if s.unfit {
		rep.Notes = append(rep.Notes, errorsUnfit)
	}
	return rep
}

// errorsUnfit is said of scores whose team switched to errors that do not fit the protocol any more.
const errorsUnfit = "the team's own measurement errors were worked out by another protocol: the published ones are used until they are worked out anew"

// options of a record's score. A preseason screen is scored by its own day's figures: during the day,
// and where the day was not closed, the protocol's prior holds. A later visit is scored by those of the
// newest day before it.
func (s *scoring) options(rec *screen.Record) score.Options {
	opt := score.Options{Heaped: s.heaped}
	for i := range s.priors {
		p := &s.priors[i]
		same := p.on == rec.Screen.On
		later := p.on < rec.Screen.On && rec.Screen.Kind != screen.Preseason && p.on.AddDays(priorLasts) >= rec.Screen.On
		if same || later {
			opt.Squad = p.prior
			break
		}
	}
	return opt
}

// scorerOf is the scorer with the errors that the team uses; the plain one if those are of another
// protocol, whose measures may be others.
func (c *Clinic) scorerOf(tx *store.Tx, team string) (*score.Scorer, screen.ErrorSwitch, error) {
	use, ok, err := tx.ErrorInUse(team)
	if err != nil || !ok || use.Study == "" {
		return c.scorer, screen.ErrorSwitch{}, err
	}
	if s := c.kept.scorer(use.Study); s != nil {
		return s, use, nil
	}
	kept, err := tx.Study(use.Study)
	if err != nil {
		return nil, use, err
	}
	if kept.Hash != c.Protocol().Hash {
		return c.kept.keepScorer(use.Study, c.scorer), use, nil
	}
	var body study.Study
	if err := json.Unmarshal(kept.Body, &body); err != nil {
		return nil, use, fmt.Errorf("clinic: read the study in use: %w", err)
	}
	return c.kept.keepScorer(use.Study, score.New(c.Protocol().WithErrors(body.Errors()))), use, nil
}

// keptThings are scorers and priors that were read before: what is kept never changes, so an id or a
// place in time stands for one content.
type keptThings struct {
	mu      sync.Mutex
	scorers map[string]*score.Scorer
	priors  map[string]*score.SquadPrior
}

// mostKept bounds each of the maps: beyond it they start anew.
const mostKept = 1000

func (k *keptThings) scorer(study string) *score.Scorer {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.scorers[study]
}

func (k *keptThings) keepScorer(study string, s *score.Scorer) *score.Scorer {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.scorers == nil || len(k.scorers) >= mostKept {
		k.scorers = map[string]*score.Scorer{}
	}
	k.scorers[study] = s
	return s
}

// prior is what was usual in a team by the id under which it is kept. Its body is large: it is read once.
func (c *Clinic) prior(tx *store.Tx, id string) (*score.SquadPrior, error) {
	k := &c.kept
	k.mu.Lock()
	have := k.priors[id]
	k.mu.Unlock()
	if have != nil {
		return have, nil
	}
	kept, err := tx.KeptPrior(id)
	if err != nil {
		return nil, err
	}
	out := &score.SquadPrior{}
	if err := json.Unmarshal(kept.Body, out); err != nil {
		return nil, fmt.Errorf("clinic: read what is usual in a squad: %w", err)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.priors == nil || len(k.priors) >= mostKept {
		k.priors = map[string]*score.SquadPrior{}
	}
	k.priors[id] = out
	return out, nil
}
