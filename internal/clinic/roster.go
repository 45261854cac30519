package clinic

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"reflect"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// RosterInput is a roster with what a person said about it.
type RosterInput struct {
	Table    *exchange.RosterTable
	Settings exchange.RosterSettings
	Same     map[int]SameAnswer // row -> answer, where it is asked
	SameAll  SameAnswer         // for rows without an answer of their own
}

// SameAnswer says whether somebody with the same name and birth date but another number is the same
// person. The empty answer is none.
type SameAnswer string

// The answers.
const (
	SamePerson  SameAnswer = "same"
	OtherPerson SameAnswer = "other"
)

// RosterOutcome is what becomes of a row.
type RosterOutcome string

// The outcomes.
const (
	RosterNew    RosterOutcome = "new"    // is added
	RosterJoins  RosterOutcome = "joins"  // on record, and joins the team
	RosterKnown  RosterOutcome = "known"  // on record, and a member
	RosterTwice  RosterOutcome = "twice"  // stands in the table before
	RosterAsk    RosterOutcome = "ask"    // the same person or another: not answered yet
	RosterFaulty RosterOutcome = "faulty" // cannot be taken
)

// RosterLine is one row with what becomes of it.
type RosterLine struct {
	Row     int
	Outcome RosterOutcome
	Asked   bool // it was asked whether this is another person
	Answer  SameAnswer
	Athlete screen.Athlete
	Consent screen.Date  // of a consent for screening, which is recorded; empty: none
	With    *RosterMatch // whom the row is or may be
	Note    string
	Faults  screen.Faults
}

// RosterMatch is whom a row was matched with.
type RosterMatch struct {
	ID      string // on record; empty: another row
	Row     int    // of the table, if ID is empty
	Athlete screen.Athlete
	By      string // "number", or "name and birth date"
}

// RosterPreview is what becomes of a roster.
type RosterPreview struct {
	Faults screen.Faults // what is wrong with the meanings of the columns; there are no lines then
	Dates  exchange.DateReading
	Notes  []string
	Lines  []RosterLine
	Count  map[RosterOutcome]int
	// Seen stands for all that the preview shows. AddRoster adds only what was seen.
	Seen    string
	Added   bool // by AddRoster
	Changed bool // AddRoster found something else than was seen
}

// Ready reports whether there is somebody to add or to join and no question is open.
func (p *RosterPreview) Ready() bool {
	return len(p.Faults) == 0 && !p.Dates.Ask && p.Count[RosterAsk] == 0 && p.Count[RosterNew]+p.Count[RosterJoins] > 0
}

// PreviewRoster says what AddRoster would do with a roster, and changes nothing. Returns NotFound.
func (c *Clinic) PreviewRoster(ctx context.Context, who Person, team string, in *RosterInput) (out *RosterPreview, err error) {
	built := exchange.BuildRoster(in.Table, in.Settings, c.Protocol(), c.Today())
	err = c.read(ctx, who, access.ManageRoster, gate.Team(team), func(tx *store.Tx) error {
		out, err = c.judgeRoster(tx, who, team, in, built)
		return err
	})
	return out, err
}

// AddRoster adds the athletes of a roster who are not on record and lets the others join the team, all
// or none. seen is the Seen of the preview that was confirmed: if anything is different now, nothing
// is written and the new preview says Changed. Faulty rows are left out if that is said; otherwise
// nothing is written if there are any. Added says whether the roster was written. Returns NotFound.
func (c *Clinic) AddRoster(ctx context.Context, who Person, team string, in *RosterInput, seen string, leaveOutFaulty bool) (out *RosterPreview, err error) {
	built := exchange.BuildRoster(in.Table, in.Settings, c.Protocol(), c.Today())
	err = c.write(ctx, who, access.ManageRoster, gate.Team(team), func(tx *store.Tx) error {
		if out, err = c.judgeRoster(tx, who, team, in, built); err != nil {
			return err
		}
		out.Changed = out.Seen != seen
		if out.Changed || !out.Ready() || out.Count[RosterFaulty] > 0 && !leaveOutFaulty {
			return nil
		}
		for i := range out.Lines {
			if err := c.addLine(tx, who, team, &out.Lines[i]); err != nil {
				return err
			}
		}
		out.Added = true
		return nil
	})
	return out, err
}

func (c *Clinic) addLine(tx *store.Tx, who Person, team string, l *RosterLine) error {
	var id string
	switch l.Outcome {
	case RosterNew:
		l.Athlete.ID = c.newID()
		if _, err := tx.PutAthlete(&l.Athlete, 0); err != nil {
			return err
		}
		id = l.Athlete.ID
	case RosterJoins:
		id = l.With.ID
	case RosterKnown:
		return c.rosterConsent(tx, who, team, l.With.ID, l.Consent)
	default:
		return nil
	}
	if _, err := tx.PutMembership(screen.Membership{ID: c.newID(), Team: team, Athlete: id}, 0); err != nil {
		return err
	}
	return c.rosterConsent(tx, who, team, id, l.Consent)
}

// rosterJudge decides row by row.
type rosterJudge struct {
	c       *Clinic
	who     Person
	team    string
	tx      *store.Tx
	in      *RosterInput
	members map[string]bool             // ids of the team's athletes
	numbers map[string][]screen.Athlete // the team's athletes by the number of another record
	// Rows that stand in the table before.
	byNumber map[string]*RosterLine
	byPerson map[personKey][]*RosterLine
	joined   map[string]int // id on record -> row that lets the athlete join
}

type personKey struct {
	name string
	born screen.Date
}

func keyOf(a *screen.Athlete) personKey {
	return personKey{strings.ToLower(strings.Join(strings.Fields(a.Name), " ")), a.Born}
}

func (c *Clinic) judgeRoster(tx *store.Tx, who Person, team string, in *RosterInput, built *exchange.RosterResult) (*RosterPreview, error) {
	if _, err := tx.Team(team); err != nil {
		return nil, err
	}
	out := &RosterPreview{Faults: built.Faults, Dates: built.Dates, Notes: built.Notes, Count: map[RosterOutcome]int{}}
	j := rosterJudge{c: c, who: who, team: team, tx: tx, in: in, members: map[string]bool{}, numbers: map[string][]screen.Athlete{},
		byNumber: map[string]*RosterLine{}, byPerson: map[personKey][]*RosterLine{}, joined: map[string]int{}}
	if err := j.load(team); err != nil {
		return nil, err
	}
	out.Lines = make([]RosterLine, len(built.Rows))
	for i := range built.Rows {
		l := &out.Lines[i]
		l.Row, l.Athlete, l.Consent, l.Faults = built.Rows[i].Row, built.Rows[i].Athlete, built.Rows[i].Consent, built.Rows[i].Faults
		if err := j.line(l); err != nil {
			return nil, err
		}
		l.noteConsent()
		out.Count[l.Outcome]++
	}
	out.Seen = seenMark(in, out)
	return out, nil
}

// load reads the team's athletes once, so that most rows need no look-up of their own.
func (j *rosterJudge) load(team string) error {
	p := Page{Limit: 500}
	for {
		list, next, err := j.tx.Athletes(team, p)
		if err != nil {
			return err
		}
		for i := range list {
			j.members[list[i].ID] = true
			if n := list[i].ExternalID; n != "" {
				j.numbers[n] = append(j.numbers[n], list[i])
			}
		}
		if next == "" {
			return nil
		}
		p.After = next
	}
}

func (j *rosterJudge) line(l *RosterLine) error {
	if len(l.Faults) > 0 {
		l.Outcome = RosterFaulty
		return nil
	}
	if j.inTable(l); l.Outcome == "" {
		if err := j.onRecord(l); err != nil {
			return err
		}
	}
	if l.Outcome == RosterJoins {
		if row, twice := j.joined[l.With.ID]; twice { // two rows, one person on record
			l.Outcome, l.Note = RosterTwice, fmt.Sprintf("row %d is the same athlete on record", row)
		} else {
			j.joined[l.With.ID] = l.Row
		}
	}
	if l.Outcome == RosterFaulty || l.Outcome == RosterTwice {
		return nil
	}
	if l.Athlete.ExternalID != "" {
		j.byNumber[l.Athlete.ExternalID] = l
	}
	key := keyOf(&l.Athlete)
	j.byPerson[key] = append(j.byPerson[key], l)
	return nil
}

// inTable compares a row with those before it.
func (j *rosterJudge) inTable(l *RosterLine) {
	a := &l.Athlete
	if first := j.byNumber[a.ExternalID]; first != nil && a.ExternalID != "" {
		if keyOf(&first.Athlete) != keyOf(a) {
			l.fail(fmt.Sprintf("the number %s stands in row %d already, with another name or birth date", a.ExternalID, first.Row), "each number for one athlete", a.ExternalID)
			return
		}
		l.twice(first, "number")
		return
	}
	for _, first := range j.byPerson[keyOf(a)] {
		if first.Athlete.ExternalID == "" || a.ExternalID == "" {
			l.twice(first, "name and birth date")
			return
		}
	}
	for _, x := range j.numbers[a.ExternalID] { // on record by its own number: there is nothing to ask
		if keyOf(&x) == keyOf(a) {
			return
		}
	}
	if list := j.byPerson[keyOf(a)]; len(list) > 0 {
		j.ask(l, &RosterMatch{Row: list[0].Row, Athlete: list[0].Athlete, By: "name and birth date"}, RosterTwice)
	}
}

// twice says that a row is the same athlete as one before it. If the two say different things, neither
// is known to be right.
func (l *RosterLine) twice(first *RosterLine, by string) {
	a, b := l.Athlete, first.Athlete
	a.ID, b.ID, a.ExternalID, b.ExternalID, a.Name, b.Name = "", "", "", "", "", ""
	if !reflect.DeepEqual(a, b) {
		l.fail(fmt.Sprintf("the athlete stands in row %d already, and other cells of the two rows differ", first.Row), "each athlete once", l.Athlete.Name)
		return
	}
	l.Outcome, l.With = RosterTwice, &RosterMatch{Row: first.Row, Athlete: first.Athlete, By: by}
}

func (l *RosterLine) fail(problem, want, value string) {
	l.Outcome = RosterFaulty
	l.Faults = append(l.Faults, screen.Fault{Where: fmt.Sprintf("row %d", l.Row), Problem: problem, Want: want, Value: value})
}

// ask asks whether a row is another person, or takes the answer. same is what becomes of the row if
// it is not; the outcome stays empty if it is.
func (j *rosterJudge) ask(l *RosterLine, with *RosterMatch, same RosterOutcome) {
	answer := j.in.Same[l.Row]
	if answer == "" {
		answer = j.in.SameAll
	}
	l.Asked, l.Answer, l.With = true, j.in.Same[l.Row], with
	switch answer {
	case SamePerson:
		l.Outcome = same
	case OtherPerson:
	default:
		l.Outcome = RosterAsk
	}
}

// onRecord compares a row with the athletes on record: by number within the team, then by name and
// birth date among all.
func (j *rosterJudge) onRecord(l *RosterLine) error {
	a := &l.Athlete
	if list := j.numbers[a.ExternalID]; len(list) > 0 {
		j.byTeamNumber(l, list)
		return nil
	}
	found, err := j.c.namesakes(j.tx, j.who, j.team, a.Name, a.Born)
	if err != nil {
		return err
	}
	var same, other []screen.Athlete
	for i := range found {
		if x := &found[i]; x.ExternalID == "" || a.ExternalID == "" || x.ExternalID == a.ExternalID {
			same = append(same, *x)
		} else {
			other = append(other, *x)
		}
	}
	if best := j.nearest(same, a.ExternalID); best != nil {
		j.match(l, best, "name and birth date")
		return nil
	}
	switch {
	case len(same) > 1:
		l.fail(fmt.Sprintf("%d athletes on record have this name and birth date", len(same)), "the number of the one who is meant", a.Name)
	case len(other) > 0:
		best := j.nearest(other, "")
		if best == nil {
			best = &other[0]
		}
		j.ask(l, &RosterMatch{ID: best.ID, Athlete: *best, By: "name and birth date"}, j.belongs(best.ID))
		if l.Outcome == "" {
			l.Outcome = RosterNew
		}
	default:
		l.Outcome = RosterNew
	}
	return nil
}

// nearest is the one athlete of a list who is meant: the only one, the only one with that number, or
// the only one of the team. Nil if none can be told.
func (j *rosterJudge) nearest(list []screen.Athlete, number string) *screen.Athlete {
	if len(list) == 1 {
		return &list[0]
	}
	for _, fits := range []func(*screen.Athlete) bool{
		func(x *screen.Athlete) bool { return number != "" && x.ExternalID == number },
		func(x *screen.Athlete) bool { return j.members[x.ID] },
	} {
		var one *screen.Athlete
		n := 0
		for i := range list {
			if fits(&list[i]) {
				one = &list[i]
				n++
			}
		}
		if n == 1 {
			return one
		}
	}
	return nil
}

func (j *rosterJudge) byTeamNumber(l *RosterLine, list []screen.Athlete) {
	a := keyOf(&l.Athlete)
	for i := range list {
		x := keyOf(&list[i])
		if x == a {
			j.match(l, &list[i], "number")
			return
		}
	}
	x := &list[0]
	switch {
	case len(list) > 1:
		l.fail(fmt.Sprintf("several athletes of the team have the number %s", l.Athlete.ExternalID), "a number for one athlete", l.Athlete.ExternalID)
	case keyOf(x).born == a.born || keyOf(x).name == a.name:
		j.match(l, x, "number")
		l.Note = fmt.Sprintf("on record as %s, born %s; the record stays as it is", x.Name, x.Born)
	default:
		l.fail(fmt.Sprintf("the number %s is that of %s, born %s, in this team", l.Athlete.ExternalID, x.Name, x.Born), "the athlete's own number", l.Athlete.ExternalID)
	}
}

func (j *rosterJudge) match(l *RosterLine, a *screen.Athlete, by string) {
	l.Outcome, l.With = j.belongs(a.ID), &RosterMatch{ID: a.ID, Athlete: *a, By: by}
}

func (j *rosterJudge) belongs(id string) RosterOutcome {
	if j.members[id] {
		return RosterKnown
	}
	return RosterJoins
}

// seenMark stands for the settings, the table and the outcome of every row.
func seenMark(in *RosterInput, p *RosterPreview) string {
	h := sha256.New()
	_, _ = fmt.Fprintf(h, "%q %q\n%s\n", in.Settings, in.SameAll, in.Table.Text()) // a hash takes everything
	for i := range p.Lines {
		l := &p.Lines[i]
		_, _ = fmt.Fprintln(h, l.Row, l.Outcome, l.Answer)
		if l.With != nil {
			_, _ = fmt.Fprintln(h, l.With.ID, l.With.Row)
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}
