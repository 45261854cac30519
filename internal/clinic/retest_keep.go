package clinic

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// StudyToKeep says what a kept study is made of: the readings of a file, or, without any, the team's
// own records from one day to another.
type StudyToKeep struct {
	ID       string // made by whoever keeps the study; empty: made here
	Name     string
	From, To screen.Date
	Readings []study.Reading
}

// KeepStudy works out a study and keeps it as it then stands; nothing is scored with it until its errors
// are switched on. The same study sent twice under one id is one. Returns NotFound, Faults, Conflict, or
// Invalid if no side was read twice.
func (c *Clinic) KeepStudy(ctx context.Context, who Person, team string, in StudyToKeep) (out screen.KeptStudy, err error) {
	err = c.write(ctx, who, access.ManageMethod, gate.Team(team), func(tx *store.Tx) error {
		out, err = c.keepStudy(tx, who, team, &in)
		return err
	})
	return out, err
}

func (c *Clinic) keepStudy(tx *store.Tx, who Person, team string, in *StudyToKeep) (out screen.KeptStudy, err error) {
	if _, err := tx.Team(team); err != nil {
		return out, err
	}
	if err := c.checkStudy(in).Err(); err != nil {
		return out, err
	}
	out = screen.KeptStudy{ID: in.ID, Team: team, Name: strings.TrimSpace(in.Name), By: who.ID, Made: c.now().UTC()}
	if out.ID == "" {
		out.ID = c.newID()
	}
	s, err := c.studyToKeep(tx, team, in, &out)
	if err != nil {
		return out, err
	}
	out.Protocol, out.Hash = s.Protocol, s.Hash
	if out.Body, err = json.Marshal(s); err != nil {
		return out, fmt.Errorf("clinic: write a study: %w", err)
	}
	added, err := tx.PutStudy(out)
	if err == nil && !added { // sent twice: as it was kept then
		out, err = tx.Study(out.ID)
	}
	return out, err
}

// studyToKeep works the study out and notes in out what it was made of.
func (c *Clinic) studyToKeep(tx *store.Tx, team string, in *StudyToKeep, out *screen.KeptStudy) (*study.Study, error) {
	if len(in.Readings) > 0 {
		s, err := c.studyOf(in.Readings)
		if err != nil {
			return nil, err
		}
		if out.Data, err = json.Marshal(in.Readings); err != nil {
			return nil, fmt.Errorf("clinic: write the readings of a study: %w", err)
		}
		return s, nil
	}
	r, err := c.retest(tx, team, in.From, in.To)
	if err == nil && r.Study == nil {
		err = noRepeats()
	}
	out.From, out.To = r.From, r.To
	return r.Study, err
}

func (c *Clinic) checkStudy(in *StudyToKeep) screen.Faults {
	var f screen.Faults
	if in.ID != "" {
		screen.CheckID(in.ID, "id", &f)
	}
	if strings.TrimSpace(in.Name) == "" {
		f.Add("name", "a name by which it is found again, such as the day and who measured", "the name is missing")
	}
	screen.CheckText(in.Name, screen.MaxNameLen, "name", &f)
	if n := len(in.Readings); n > exchange.MaxRetestReadings {
		f.Add("readings", fmt.Sprintf("at most %d", exchange.MaxRetestReadings), "%d readings are given", n)
		return f
	}
	for i := range in.Readings {
		f = append(f, c.checkRepeat(&in.Readings[i], fmt.Sprintf("readings[%d]", i))...)
		if len(f) > 100 {
			break
		}
	}
	return f
}

// checkRepeat says what is wrong with a reading that does not come from the records.
func (c *Clinic) checkRepeat(r *study.Reading, where string) screen.Faults {
	var f screen.Faults
	if strings.TrimSpace(r.Athlete) == "" {
		f.Add(where+".athlete", "any label that is the same for every reading of one person", "the athlete is missing")
	}
	screen.CheckText(r.Athlete, screen.MaxNameLen, where+".athlete", &f)
	if !r.Occasion.Valid() || r.Occasion > c.Today() {
		f.Add(where+".occasion", "a day such as 2026-02-10, not in the future", "%q is not a day on which somebody was measured", string(r.Occasion))
	}
	return append(f, c.Protocol().CheckReading(&screen.Reading{ID: "r", Measure: r.Measure, Side: r.Side, Examiner: r.Examiner, Trials: r.Trials}, where)...)
}

// KeptStudy is a study that was kept, read back.
type KeptStudy struct {
	screen.KeptStudy
	Study *study.Study
	Stale string // why its errors cannot be switched on any more; empty: they can
}

// StudyKept is one kept study of a team. Returns NotFound.
func (c *Clinic) StudyKept(ctx context.Context, who Person, id string) (out KeptStudy, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Study(id), func(tx *store.Tx) error {
		out, err = c.studyKept(tx, id)
		return err
	})
	return out, err
}

func (c *Clinic) studyKept(tx *store.Tx, id string) (out KeptStudy, err error) {
	if out.KeptStudy, err = tx.Study(id); err != nil {
		return out, err
	}
	out.Study = &study.Study{}
	if err := json.Unmarshal(out.Body, out.Study); err != nil {
		return out, fmt.Errorf("clinic: read a kept study: %w", err)
	}
	out.Stale = c.stale(&out.KeptStudy)
	return out, nil
}

// stale says why a study that was kept no longer fits, empty if it does.
func (c *Clinic) stale(s *screen.KeptStudy) string {
	if s.Hash == c.Protocol().Hash {
		return ""
	}
	if s.Protocol == c.Protocol().NameAndVersion() {
		return "it was made by another content of the protocol " + s.Protocol
	}
	return "it was made by the protocol " + s.Protocol
}

// StudiesKept are a team's kept studies, the newest first, without what they say. Returns NotFound.
func (c *Clinic) StudiesKept(ctx context.Context, who Person, team string) (out []screen.KeptStudy, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		out, err = tx.Studies(team)
		return err
	})
	return out, err
}

// StudyRef names a study: a kept one of a team, or that of the team's records from one day to another.
type StudyRef struct {
	Team     string
	Kept     string
	From, To screen.Date
}

// StudiedMeasure is what a study says of one measure. Returns NotFound if the team has no such study or
// the study no such measure, or Faults.
func (c *Clinic) StudiedMeasure(ctx context.Context, who Person, ref StudyRef, measure string) (out *study.Measure, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(ref.Team), func(tx *store.Tx) error {
		s, err := c.studyAt(tx, &ref)
		if err != nil {
			return err
		}
		for i := 0; s != nil && i < len(s.Measures); i++ {
			if s.Measures[i].Measure == measure {
				out = &s.Measures[i]
				return nil
			}
		}
		return &screen.Problem{Code: screen.NotFound, Text: "the study has no such measure", Want: "a measure of which readings are in the study"}
	})
	return out, err
}

func (c *Clinic) studyAt(tx *store.Tx, ref *StudyRef) (*study.Study, error) {
	if ref.Kept == "" {
		r, err := c.retest(tx, ref.Team, ref.From, ref.To)
		return r.Study, err
	}
	k, err := c.studyOfTeam(tx, ref.Team, ref.Kept)
	return k.Study, err
}

// studyOfTeam is a kept study of the team. That of another team is not told from one that does not exist.
func (c *Clinic) studyOfTeam(tx *store.Tx, team, id string) (KeptStudy, error) {
	k, err := c.studyKept(tx, id)
	if screen.IsCode(err, screen.NotFound) || err == nil && k.Team != team {
		return KeptStudy{}, noSuchStudy()
	}
	return k, err
}

func noSuchStudy() error {
	return &screen.Problem{Code: screen.NotFound, Text: "this team has no such retest study", Want: "a study of the team"}
}
