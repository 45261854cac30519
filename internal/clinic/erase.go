package clinic

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// Erasure is what an erasure did: how much of what kind, of nobody in particular.
type Erasure = store.Erasure

// Erased is an erasure that was just done.
type Erased struct {
	Erasure
	Rest string `json:"rest,omitempty" doc:"what could not be done at once, and what to do about it"`
}

// aboutErasing is an athlete, whom only somebody who may do so in the whole programme erases.
func aboutErasing(athlete string) gate.About {
	return gate.All(gate.Athlete(athlete), gate.Programme())
}

// ToErase is what would be erased.
type ToErase struct {
	Athlete screen.Athlete
	Teams   []screen.Team
	Counts  []Counted
	Hold    *store.RetentionHold // why it is kept; nil: it is not held
}

// Counted is how much there is of a kind.
type Counted struct {
	Kind string `json:"kind"`
	N    int    `json:"n"`
}

// PlanErasure says what erasing an athlete would remove. Returns NotFound.
func (c *Clinic) PlanErasure(ctx context.Context, who Person, athlete string) (out ToErase, err error) {
	err = c.read(ctx, who, access.Erase, aboutErasing(athlete), func(tx *store.Tx) error {
		held, err := tx.HeldOf(athlete)
		if err != nil {
			return err
		}
		out.Athlete, out.Hold, out.Counts = held.Athlete, held.Hold, heldCounts(&held)
		ids, err := tx.AllTeamsOf(athlete)
		if err != nil {
			return err
		}
		for _, id := range ids {
			t, err := tx.Team(id)
			if err != nil {
				return err
			}
			out.Teams = append(out.Teams, t)
		}
		return nil
	})
	return out, err
}

func heldCounts(h *store.Held) (out []Counted) {
	readings, symptoms := 0, 0
	for i := range h.Records {
		readings, symptoms = readings+len(h.Records[i].Readings), symptoms+len(h.Records[i].Symptoms)
	}
	for _, x := range []Counted{
		{store.ErasedScreens, len(h.Records)}, {store.ErasedReadings, readings}, {store.ErasedNotDone, len(h.NotDone)},
		{store.ErasedAnswers, len(h.Checklist)}, {store.ErasedSymptoms, symptoms}, {store.ErasedEvents, len(h.Events)},
		{store.ErasedDayEntries, len(h.Entries)}, {store.ErasedPlaces, len(h.Places)}, {store.ErasedHandouts, len(h.Handouts)},
		{store.ErasedConsents, len(h.Consents)}, {store.ErasedLinks, len(h.Links)}, {store.ErasedMemberships, len(h.Memberships)},
	} {
		if x.N > 0 {
			out = append(out, x)
		}
	}
	return out
}

// EraseAthlete removes an athlete and everything that is on record of the athlete, in one transaction,
// and then from the file's free pages. confirm is the athlete's name, typed in; why must not name the
// athlete, because it is kept. The audit keeps the athlete's id. Returns Faults, NotFound, or Invalid
// while the records are held.
func (c *Clinic) EraseAthlete(ctx context.Context, who Person, athlete, confirm, why string) (out Erased, err error) {
	why = strings.TrimSpace(why)
	var days []string
	err = c.write(ctx, who, access.Erase, aboutErasing(athlete), func(tx *store.Tx) error {
		a, err := tx.Athlete(athlete)
		if err != nil {
			return err
		}
		if err := checkErasure(&a, confirm, why).Err(); err != nil {
			return err
		}
		holds, err := tx.RetentionHolds([]string{athlete})
		if err != nil {
			return err
		}
		if h, held := holds[athlete]; held {
			return invalid("end the hold on the page of retention first", "the records are held: %s", h.Why)
		}
		days, out.Erasure, err = c.erase(tx, who, &a, why)
		return err
	})
	if err == nil {
		out.Rest = c.afterErasure(ctx, days)
	}
	return out, err
}

func checkErasure(a *screen.Athlete, confirm, why string) screen.Faults {
	var f screen.Faults
	if keyOf(&screen.Athlete{Name: confirm}).name != keyOf(&screen.Athlete{Name: a.Name}).name {
		f.Add("confirm", "the athlete's name as it is on record", "the name is another one")
	}
	if why == "" {
		f.Add("why", "who asked for it, or that the time is over", "the reason is missing")
	}
	screen.CheckText(why, screen.MaxNoteLen, "why", &f)
	if namesIn(why, a.Name) {
		f.Add("why", "a reason without the name: it is kept", "the reason names the athlete")
	}
	return f
}

// namesIn reports whether a text has a part of a name in it, as a word.
func namesIn(text, name string) bool {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return strings.ContainsRune(" \t\n.,;:()\"'’", r) })
	for _, part := range strings.Fields(strings.ToLower(name)) {
		if len([]rune(part)) > 2 && slices.Contains(words, strings.Trim(part, ".,")) {
			return true
		}
	}
	return false
}

// erase removes an athlete within tx and notes that it was done. days are those whose lists changed.
func (c *Clinic) erase(tx *store.Tx, who Person, a *screen.Athlete, why string) (days []string, out Erasure, err error) {
	held, err := tx.HeldOf(a.ID)
	if err != nil {
		return nil, out, err
	}
	for i := range held.Places {
		days = append(days, held.Places[i].Day)
	}
	priors, studies, err := c.eraseFromTeams(tx, a)
	if err != nil {
		return nil, out, err
	}
	counts, err := tx.EraseAthlete(a.ID, c.digits)
	if err != nil {
		return nil, out, err
	}
	counts[store.ErasedPriors], counts[store.ErasedStudies] = priors, studies
	for kind, n := range counts {
		if n == 0 {
			delete(counts, kind)
		}
	}
	out = Erasure{ID: c.newID(), At: c.now().UTC().Truncate(time.Microsecond), ByID: who.ID, ByName: who.Name, Why: why, Counts: counts}
	return days, out, tx.AddErasure(out)
}

// eraseFromTeams takes an athlete out of what teams keep of several together: the list of those counted
// in a squad's figures, and the readings that a study was worked out from. The figures stay.
func (c *Clinic) eraseFromTeams(tx *store.Tx, a *screen.Athlete) (priors, studies int, err error) {
	teams, err := tx.AllTeamsOf(a.ID)
	if err != nil {
		return 0, 0, err
	}
	for _, team := range teams {
		n, err := tx.EachPrior(team, func(p *screen.KeptPrior) ([]byte, error) { return priorWithout(p.Body, a.ID) })
		if err != nil {
			return 0, 0, err
		}
		m, err := tx.EachStudy(team, func(s *screen.KeptStudy) (body, data []byte, err error) {
			data, err = studyWithout(s.Data, a)
			return s.Body, data, err
		})
		if err != nil {
			return 0, 0, err
		}
		priors, studies = priors+n, studies+m
	}
	return priors, studies, nil
}

// priorWithout is what is usual in a squad without an athlete's id; nil if it does not name the athlete.
func priorWithout(body []byte, athlete string) ([]byte, error) {
	var p score.SquadPrior
	if err := json.Unmarshal(body, &p); err != nil {
		return nil, fmt.Errorf("clinic: read what is usual in a squad: %w", err)
	}
	is := func(id string) bool { return id == athlete }
	out := func(x score.LeftOut) bool { return x.Athlete == athlete }
	if !slices.ContainsFunc(p.Counted, is) && !slices.ContainsFunc(p.LeftOut, out) {
		return nil, nil
	}
	p.Counted, p.LeftOut = slices.DeleteFunc(p.Counted, is), slices.DeleteFunc(p.LeftOut, out)
	return json.Marshal(p)
}

// studyWithout is the readings of a study without those of an athlete, whom a file may tell by id, number
// or name; nil if there are none of the athlete.
func studyWithout(data []byte, a *screen.Athlete) ([]byte, error) {
	if len(data) == 0 {
		return nil, nil
	}
	var list []study.Reading
	if err := json.Unmarshal(data, &list); err != nil {
		return nil, fmt.Errorf("clinic: read the readings of a study: %w", err)
	}
	n := len(list)
	list = slices.DeleteFunc(list, func(r study.Reading) bool { return isLabelOf(r.Athlete, a) })
	if len(list) == n {
		return nil, nil
	}
	return json.Marshal(list)
}

// isLabelOf reports whether a text tells an athlete: the id, the number of another record, or the name.
func isLabelOf(label string, a *screen.Athlete) bool {
	name := func(s string) string { return keyOf(&screen.Athlete{Name: s}).name }
	return label == a.ID || a.ExternalID != "" && label == a.ExternalID || name(label) == name(a.Name)
}

// afterErasure drops what is kept in memory, tells those who watch the days, and overwrites what was
// erased in the file. It says what of that could not be done: the erasure itself is done by then.
func (c *Clinic) afterErasure(ctx context.Context, days []string) string {
	c.gate.Store().Forget()
	c.kept.forget()
	for _, d := range days {
		c.logs.forget(d)
		c.watch.tell(d)
	}
	if c.gate.Store().Scrub(ctx) != nil {
		return "The athlete is erased, but traces may be left in the file until it is cleaned: somebody was reading from it, or the disk is nearly full. Restart evenhand, then run: evenhand doctor"
	}
	return ""
}

// Erasures are the last ones, the newest first.
func (c *Clinic) Erasures(ctx context.Context, who Person) (out []Erasure, err error) {
	err = c.read(ctx, who, access.Erase, gate.Programme(), func(tx *store.Tx) error {
		out, err = tx.Erasures()
		return err
	})
	return out, err
}

// forget drops the priors that are kept, of which one may have changed.
func (k *keptThings) forget() {
	k.mu.Lock()
	defer k.mu.Unlock()
	clear(k.priors)
}

// forget drops a day's log.
func (d *dayLogs) forget(day string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.of, day)
}
