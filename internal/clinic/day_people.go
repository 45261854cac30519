package clinic

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// checkIn notes whether the athlete threw lately, and the throwing hand if the record says another. A
// changed hand holds from the day on: what was screened before stays as it was understood.
func (in *intake) checkIn(e *StationEntry, p *listed, row *screen.DayEntry) error {
	if err := in.flush(); err != nil {
		return err
	}
	if err := in.make(p); err != nil {
		return err
	}
	if err := in.c.needConsent(in.tx, p.Athlete, in.day.On); err != nil {
		return err
	}
	if e.Threw != nil {
		if err := in.threw(p, e.Threw); err != nil {
			return err
		}
	}
	if e.Hand == "" {
		return nil
	}
	a, err := in.tx.Athlete(p.Athlete)
	if err != nil {
		return err
	}
	was := a.HandOn(in.day.On)
	if was == e.Hand {
		return nil
	}
	row.About = string(was) + ">" + string(e.Hand)
	return in.hand(&a, e.Hand)
}

func (in *intake) threw(p *listed, threw *bool) error {
	s, err := in.tx.Screen(p.Screen)
	if err != nil {
		return err
	}
	s.ThrewIn48h = threw
	_, err = in.tx.PutScreen(&s, s.Revision)
	return err
}

// hand lets an athlete throw with h from the day on; with the empty hand what was said of the day is
// taken back.
func (in *intake) hand(a *screen.Athlete, h screen.Hand) error {
	a.Hands = slices.DeleteFunc(slices.Clone(a.Hands), func(x screen.HandSince) bool { return x.From >= in.day.On })
	if h != "" {
		a.Hands = append(a.Hands, screen.HandSince{Hand: h, From: in.day.On})
	}
	if len(a.Hands) == 0 {
		return invalid("change the throwing hand on the athlete's page", "the athlete would be left without a throwing hand")
	}
	_, err := in.tx.PutAthlete(a, a.Revision)
	return err
}

// undo takes an earlier entry of this station back. It stays on record, marked.
func (in *intake) undo(e *StationEntry, p *listed) error {
	target, err := in.target(e)
	if err != nil {
		return err
	}
	if target.Athlete != p.Athlete {
		return invalid("name the athlete of that entry", "the entry to take back is another athlete's")
	}
	if err := in.flush(); err != nil {
		return err
	}
	if holds, err := in.holds(&target); err != nil || !holds {
		return err
	}
	why := "taken back at the station by " + e.Examiner
	switch target.Kind {
	case screen.DayReading:
		_, err = in.tx.WithdrawReading(target.ID, why)
	case screen.DayNotDone:
		if !in.c.logOnly(target.About) { // otherwise that it was taken back stands in the log as well
			_, err = in.tx.WithdrawNotDone(target.ID, why)
		}
	case screen.DayAnswer:
		_, err = in.tx.WithdrawAnswer(target.ID, why)
	case screen.DaySymptom:
		_, err = in.tx.WithdrawSymptom(target.ID, why)
	case screen.DayCheckIn:
		err = in.uncheck(&target, p)
	default:
		err = invalid("a late comer stays on the list: enter what is missing as absent", "this kind of entry cannot be taken back")
	}
	return err
}

// holds says of an entry that nobody took it back or corrected it yet.
func (in *intake) holds(target *screen.DayEntry) (bool, error) {
	for i := range in.rows {
		if in.rows[i].Undoes == target.ID {
			return false, nil
		}
	}
	undone := false
	err := in.c.logs.read(in.tx, in.day.ID, func(l *dayLog) error {
		undone = l.undone[target.ID]
		return nil
	})
	if err != nil || undone {
		return false, err
	}
	switch target.Kind {
	case screen.DayReading:
		r, err := in.tx.Reading(target.ID)
		return r.Stands(), err
	case screen.DaySymptom:
		s, err := in.tx.Symptom(target.ID)
		return s.Withdrawn == "", err
	}
	return true, nil
}

// target is the entry that an undo names: of this batch, or on record.
func (in *intake) target(e *StationEntry) (screen.DayEntry, error) {
	for i := range in.rows {
		if in.rows[i].ID == e.Undoes {
			return in.rows[i], nil
		}
	}
	list, err := in.tx.DayEntriesByID([]string{e.Undoes})
	if err != nil {
		return screen.DayEntry{}, err
	}
	if len(list) == 0 || list[0].Day != in.day.ID || list[0].Station != in.code {
		return screen.DayEntry{}, invalid("take back what this station entered today", "there is no such entry at this station")
	}
	return list[0], nil
}

func (in *intake) uncheck(target *screen.DayEntry, p *listed) error {
	if err := in.threw(p, nil); err != nil || target.About == "" {
		return err
	}
	a, err := in.tx.Athlete(p.Athlete)
	if err != nil {
		return err
	}
	was, _, _ := strings.Cut(target.About, ">")
	if err := in.hand(&a, ""); err != nil {
		return err
	}
	if a.HandOn(in.day.On) == screen.Hand(was) {
		return nil
	}
	return in.hand(&a, screen.Hand(was))
}

// walkOn puts somebody on the list. The device goes on using the id that it made, also if the athlete
// turns out to be on record under another one.
func (in *intake) walkOn(e *StationEntry, sum string) error {
	part, err := in.c.listWalkOn(in.tx, in.who, in.day, in.list, e.Athlete, *e.Person)
	if err != nil {
		return err
	}
	p, there := in.people[part.Athlete]
	if !there {
		p = &listed{Participant: part}
		in.people[part.Athlete] = p
		in.list = append(in.list, part)
	}
	in.people[e.Athlete] = p
	row := in.row(e, p, sum)
	row.About = e.Athlete
	in.rows = append(in.rows, row)
	return nil
}

// listWalkOn finds or makes the athlete, lets her or him join the team, and gives the place on the list.
func (c *Clinic) listWalkOn(tx *store.Tx, who Person, d *screen.Day, list []screen.Participant, id string, w WalkOn) (screen.Participant, error) {
	t, err := tx.Team(d.Team)
	if err != nil {
		return screen.Participant{}, err
	}
	a := screen.Athlete{ID: id, Name: strings.Join(strings.Fields(w.Name), " "), Born: w.Born, Sex: w.Sex, Sport: t.Sport, Level: w.Level,
		Hands: []screen.HandSince{{Hand: w.Hand}}}
	if err := c.Protocol().CheckAthlete(&a, c.Today(), "person").Err(); err != nil {
		return screen.Participant{}, err
	}
	same, err := c.namesakes(tx, who, d.Team, a.Name, a.Born)
	if err != nil {
		return screen.Participant{}, err
	}
	if len(same) > 0 {
		a = same[0]
		for i := range same {
			if slices.ContainsFunc(list, func(p screen.Participant) bool { return p.Athlete == same[i].ID }) {
				a = same[i]
			}
		}
	} else if _, err := tx.PutAthlete(&a, 0); err != nil {
		return screen.Participant{}, err
	}
	if err := c.join(tx, who, d.Team, a.ID); err != nil {
		return screen.Participant{}, err
	}
	return c.listLate(tx, d, list, a.ID)
}

// listLate puts an athlete at the end of the list, unless she or he is on it.
func (c *Clinic) listLate(tx *store.Tx, d *screen.Day, list []screen.Participant, athlete string) (screen.Participant, error) {
	number := 0
	for _, p := range list {
		if p.Athlete == athlete {
			return p, nil
		}
		number = max(number, p.Number)
	}
	if number >= screen.MaxParticipants {
		return screen.Participant{}, invalid("set up another day", "the list of the day is full: %d athletes", number)
	}
	p := c.participant(d, athlete, number+1)
	p.Added = c.now().UTC()
	_, err := tx.PutParticipants(d.ID, []screen.Participant{p})
	return p, err
}

// AddToDay puts members of the team who came late on the list of a day.
func (c *Clinic) AddToDay(ctx context.Context, who Person, day string, athletes []string) error {
	return c.toList(ctx, who, day, func(tx *store.Tx, d *screen.Day, list []screen.Participant) error {
		for i, id := range athletes {
			is, err := tx.IsMember(d.Team, id)
			if err != nil {
				return err
			}
			if !is {
				return screen.Faults{{Where: fmt.Sprintf("athletes[%d]", i), Problem: "the athlete does not belong to the team of this day", Want: "let the athlete join the team first"}}
			}
			p, err := c.listLate(tx, d, list, id)
			if err != nil {
				return err
			}
			list = append(list, p)
		}
		return nil
	})
}

// WalkOn puts somebody on the list of a day who may not be on record: a new athlete, or the one with
// that name and birth date. Returns Faults or NotFound.
func (c *Clinic) WalkOn(ctx context.Context, who Person, day, id string, w WalkOn) (out screen.Participant, err error) {
	err = c.toList(ctx, who, day, func(tx *store.Tx, d *screen.Day, list []screen.Participant) error {
		out, err = c.listWalkOn(tx, who, d, list, id, w)
		return err
	})
	return out, err
}

// toList runs fn with a day and its list, to which it may add, and tells those who watch.
func (c *Clinic) toList(ctx context.Context, who Person, day string, fn func(*store.Tx, *screen.Day, []screen.Participant) error) error {
	err := c.write(ctx, who, access.ManageDays, gate.Day(day), func(tx *store.Tx) error {
		d, err := tx.Day(day)
		if err != nil {
			return err
		}
		list, err := tx.Participants(day)
		if err != nil {
			return err
		}
		return fn(tx, &d, list)
	})
	if err == nil {
		c.watch.tell(day)
	}
	return err
}

// Release lifts an athlete's hold on a day: the referral signs entered there are taken back with the
// reason. Returns Faults or NotFound.
func (c *Clinic) Release(ctx context.Context, who Person, day, athlete, why string) error {
	if strings.TrimSpace(why) == "" {
		return screen.Faults{{Where: "why", Problem: "the reason is missing", Want: "say who looked at the athlete and why the sign does not hold"}}
	}
	var bad screen.Faults
	if screen.CheckText(why, screen.MaxNoteLen, "why", &bad); len(bad) > 0 {
		return bad
	}
	err := c.write(ctx, who, access.Clear, gate.Day(day), func(tx *store.Tx) error { return c.release(tx, who, day, athlete, why) })
	c.watch.tell(day)
	return err
}

func (c *Clinic) release(tx *store.Tx, who Person, day, athlete, why string) error {
	list, err := tx.Participants(day)
	if err != nil {
		return err
	}
	at, err := onList(list, athlete)
	if err != nil {
		return err
	}
	rec, err := tx.Record(list[at].Screen)
	if err != nil {
		return err
	}
	now := c.now().UTC()
	var rows []screen.DayEntry
	for _, s := range rec.Symptoms {
		if s.Withdrawn != "" || !c.refers(s.Symptom) {
			continue
		}
		if _, err := tx.WithdrawSymptom(s.ID, why); err != nil {
			return err
		}
		rows = append(rows, screen.DayEntry{Day: day, ID: c.newID(), Kind: screen.DayReleased, Athlete: athlete, Screen: rec.Screen.ID,
			About: s.Symptom, Side: screen.NoSide, Round: 1, Examiner: who.Name, At: now, Received: now})
	}
	if len(rows) == 0 {
		return nil
	}
	_, err = tx.AddDayEntries(day, rows)
	return err
}

// onList is the place of an athlete on a day's list. Returns NotFound.
func onList(list []screen.Participant, athlete string) (int, error) {
	at := slices.IndexFunc(list, func(p screen.Participant) bool { return p.Athlete == athlete })
	if at < 0 {
		return at, &screen.Problem{Code: screen.NotFound, Text: "the athlete is not on the list of this day", Want: "choose from the board"}
	}
	return at, nil
}

// refers says of a symptom that it is a referral sign.
func (c *Clinic) refers(id string) bool {
	s := c.Protocol().Symptom(id)
	return s != nil && s.Referral
}
