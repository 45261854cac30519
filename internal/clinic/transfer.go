package clinic

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/google/uuid"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Imported says what became of a document.
type Imported struct {
	Athletes      int                 `json:"athletes_added"`
	AthletesKnown int                 `json:"athletes_known" doc:"found on record by id, number, or name and birth date; left as they are"`
	Screens       int                 `json:"screens_added"`
	Readings      int                 `json:"readings_added"`
	Entries       int                 `json:"other_entries_added" doc:"checklist answers, symptoms, measures not done, and events"`
	Consents      int                 `json:"consents_added"`
	Already       int                 `json:"already_there"`
	Notes         []string            `json:"notes" doc:"what was taken for granted in reading"`
	Questions     []exchange.Question `json:"questions" doc:"accepted, but worth another look"`
}

// Import reads a document of any form that exchange knows and adds it to a team, all or nothing. The
// same document twice adds nothing. Athletes are found by id, by number within the team, or by name
// and birth date. Nothing of a screen is stored of an athlete without a consent for screening; each of
// these is a fault. Returns Faults with their places in the input, or a Problem.
func (c *Clinic) Import(ctx context.Context, who Person, team string, r io.Reader, opt ImportOptions) (out Imported, err error) {
	if _, err := c.Team(ctx, who, team); err != nil {
		return out, err
	}
	return c.importInto(ctx, who, nil, team, r, opt)
}

// importInto imports into a team, which is made in the same transaction if create is given.
func (c *Clinic) importInto(ctx context.Context, who Person, create *screen.Team, team string, r io.Reader, opt ImportOptions) (out Imported, err error) {
	what, about := access.Record, gate.Team(team)
	if create != nil {
		what, about = access.Operate, gate.Programme()
	}
	if err := c.read(ctx, who, what, about, func(*store.Tx) error { return nil }); err != nil {
		return out, err // before any of the file is read
	}
	var internal error
	doc, _, err := exchange.Read(r, c.Protocol(), exchange.Options{Today: c.Today(), Team: team, MaxBytes: opt.MaxBytes, Known: c.known(ctx, who, team, &internal)})
	if internal != nil { // what the reader says then is only a consequence
		return out, internal
	}
	if err != nil {
		return out, err
	}
	if doc.Unresolved {
		return out, invalid("give the athletes in the file, or import the roster first", "an athlete of the file is not on record in this team")
	}
	out.Notes, out.Questions = doc.Notes, doc.Questions
	err = c.write(ctx, who, what, about, func(tx *store.Tx) error {
		if create != nil {
			if _, err := tx.PutTeam(create, 0); err != nil {
				return err
			}
		}
		im := importer{c: c, tx: tx, who: who, team: team, athletes: map[string]string{}, out: &out, inHand: opt.Consent}
		if err := im.document(doc); err != nil || out.Consents == 0 {
			return err
		}
		return c.gate.Enter(ctx, tx, who, access.ManageConsent, access.Subject{Kind: "team", ID: team, Teams: []string{team}}, access.Done)
	})
	return out, err
}

// known finds an athlete of the team by the text with which a file refers to him or her: evenhand's
// id, or the number of another record. An error of the store is kept in failed: it is not "no such
// athlete".
func (c *Clinic) known(ctx context.Context, who Person, team string, failed *error) func(string) *screen.Athlete {
	cache := map[string]*screen.Athlete{}
	return func(ref string) *screen.Athlete {
		if a, ok := cache[ref]; ok {
			return a
		}
		var found *screen.Athlete
		err := c.gate.Store().Read(ctx, func(tx *store.Tx) error {
			a, err := c.knownAthlete(tx, who, team, ref)
			if screen.IsCode(err, screen.NotFound) {
				a, err = tx.AthleteByExternal(team, ref)
			}
			if err == nil {
				found = &a
			}
			return err
		})
		var p *screen.Problem
		if err != nil && !errors.As(err, &p) {
			*failed = err
		}
		cache[ref] = found
		return found
	}
}

// importer writes one document in one transaction.
type importer struct {
	c        *Clinic
	tx       *store.Tx
	who      Person
	team     string
	athletes map[string]string // id in the document -> id on record
	out      *Imported
	inHand   *ConsentInHand // of everybody in the document
	of       map[string][]screen.Consent
	majority int
}

// namespace makes ids that are not UUIDs into UUIDs, the same ones every time, apart for each team.
var namespace = uuid.MustParse("6f0c3c0e-5d0a-5b7e-9a39-2f6e5b1f6a10")

func (im *importer) id(kind, id string) string {
	if _, err := uuid.Parse(id); err == nil {
		return id
	}
	return uuid.NewSHA1(namespace, []byte(im.team+"\x00"+kind+"\x00"+id)).String()
}

func (im *importer) document(doc *exchange.Document) error {
	for i := range doc.Athletes {
		if err := im.athlete(&doc.Athletes[i]); err != nil {
			return fmt.Errorf("athletes[%d]: %w", i, err)
		}
	}
	if err := im.consents(doc); err != nil {
		return err
	}
	for i := range doc.Records {
		if err := im.record(&doc.Records[i]); err != nil {
			return fmt.Errorf("screens[%d]: %w", i, err)
		}
	}
	for i := range doc.Events {
		if err := im.event(doc.Events[i]); err != nil {
			return fmt.Errorf("events[%d]: %w", i, err)
		}
	}
	return nil
}

// athlete finds the athlete on record or adds him or her, and lets the athlete join the team.
func (im *importer) athlete(a *screen.Athlete) error {
	id, err := im.find(a)
	if err != nil {
		return err
	}
	if id == "" {
		add := *a
		add.ID = im.id("athlete", a.ID)
		if add.ExternalID == "" && add.ID != a.ID {
			add.ExternalID = a.ID
		}
		if _, err := im.tx.PutAthlete(&add, 0); err != nil {
			return err
		}
		id = add.ID
		im.out.Athletes++
	} else {
		im.out.AthletesKnown++
	}
	im.athletes[a.ID] = id
	return im.c.join(im.tx, im.who, im.team, id)
}

func (im *importer) find(a *screen.Athlete) (string, error) {
	on, err := im.c.knownAthlete(im.tx, im.who, im.team, im.id("athlete", a.ID))
	if err == nil || !screen.IsCode(err, screen.NotFound) {
		return on.ID, err
	}
	if a.ExternalID != "" {
		on, err = im.tx.AthleteByExternal(im.team, a.ExternalID)
		if err == nil || !screen.IsCode(err, screen.NotFound) {
			return on.ID, err
		}
	}
	same, err := im.c.namesakes(im.tx, im.who, im.team, a.Name, a.Born)
	if err != nil {
		return "", err
	}
	for i := range same {
		// another number in another record is another person, however alike the names are
		if same[i].ExternalID == "" || a.ExternalID == "" || same[i].ExternalID == a.ExternalID {
			return same[i].ID, nil
		}
	}
	return "", nil
}

// event adds an event of an athlete of the team.
func (im *importer) event(e screen.Event) error {
	e.ID, e.EnteredBy = im.id("event", e.ID), im.who.ID
	if id, ok := im.athletes[e.Athlete]; ok {
		e.Athlete = id
	}
	is, err := im.tx.IsMember(im.team, e.Athlete)
	if err != nil {
		return err
	}
	if !is {
		return invalid("let the athlete join the team first", "the athlete of the event does not belong to the team")
	}
	added, err := im.tx.PutEvent(e)
	if added {
		im.out.Entries++
	} else {
		im.out.Already++
	}
	return err
}

func (im *importer) record(rec *screen.Record) error {
	s := rec.Screen
	moved := im.id("screen", s.ID)
	keep := moved == s.ID
	child := func(kind, id string) string {
		if keep {
			return id
		}
		return im.id(kind, moved+"\x00"+id)
	}
	s.ID, s.Team = moved, im.team
	if id, ok := im.athletes[s.Athlete]; ok {
		s.Athlete = id
	}
	if s.Protocol == "" {
		s.Protocol = im.c.Protocol().NameAndVersion()
	}
	_, _, err := im.tx.ScreenRevision(s.ID)
	isNew := screen.IsCode(err, screen.NotFound)
	if err := im.c.putScreen(im.tx, &s, 0); err != nil {
		return err
	}
	if isNew {
		im.out.Screens++
	}
	readings := rec.Current()
	for i := range readings {
		readings[i].ID, readings[i].Screen, readings[i].EnteredBy = child("reading", readings[i].ID), s.ID, im.who.ID
	}
	if len(readings) > 0 {
		n, err := im.tx.PutReadings(s.ID, readings, im.c.digits)
		if err != nil {
			return err
		}
		im.out.Readings += n
		im.out.Already += len(readings) - n
	}
	return im.entries(rec, s.ID, child)
}

// entries writes what was entered beside readings.
func (im *importer) entries(rec *screen.Record, screenID string, child func(kind, id string) string) error {
	put := func(total int, write func() (int, error)) error {
		if total == 0 {
			return nil
		}
		n, err := write()
		im.out.Entries += n
		im.out.Already += total - n
		return err
	}
	notDone := append([]screen.NotDone(nil), rec.NotDone...)
	for i := range notDone {
		notDone[i].ID, notDone[i].Screen = child("not_done", notDone[i].ID), screenID
	}
	answers := append([]screen.ChecklistAnswer(nil), rec.Checklist...)
	for i := range answers {
		answers[i].ID, answers[i].Screen = child("checklist", answers[i].ID), screenID
	}
	symptoms := append([]screen.Symptom(nil), rec.Symptoms...)
	for i := range symptoms {
		symptoms[i].ID, symptoms[i].Screen = child("symptom", symptoms[i].ID), screenID
	}
	if err := put(len(notDone), func() (int, error) { return im.tx.PutNotDone(screenID, notDone) }); err != nil {
		return err
	}
	if err := put(len(answers), func() (int, error) { return im.tx.PutChecklist(screenID, answers) }); err != nil {
		return err
	}
	return put(len(symptoms), func() (int, error) { return im.tx.PutSymptoms(screenID, symptoms) })
}

// Export gives every record of a team (of all teams if team is empty) to fn, by day, in bounded
// memory. Records are shared: fn must not modify them.
func (c *Clinic) Export(ctx context.Context, who Person, team string, fn func(*screen.Record) error) error {
	return c.read(ctx, who, access.ExportTeam, teamOrAll(team), func(tx *store.Tx) error {
		if team != "" {
			if _, err := tx.Team(team); err != nil {
				return err
			}
		}
		return tx.EachRecord(team, fn)
	})
}

// ExportDocument gathers a team's athletes (also those never screened) with their events, and its
// records, in one document, in the form that Import reads.
func (c *Clinic) ExportDocument(ctx context.Context, who Person, team string) (*exchange.Document, error) {
	doc := &exchange.Document{}
	err := c.read(ctx, who, access.ExportTeam, teamOrAll(team), func(tx *store.Tx) error {
		if team != "" {
			if _, err := tx.Team(team); err != nil {
				return err
			}
		}
		p := Page{Limit: 500}
		for {
			list, next, err := tx.Athletes(team, p)
			if err != nil {
				return err
			}
			if list, err = c.lookedAfter(tx, who, access.ExportTeam, team, list); err != nil {
				return err
			}
			doc.Athletes = append(doc.Athletes, list...)
			if err := addEvents(tx, doc, list); err != nil {
				return err
			}
			if err := addConsents(tx, doc, list); err != nil {
				return err
			}
			if next == "" {
				break
			}
			p.After = next
		}
		return tx.EachRecord(team, func(rec *screen.Record) error {
			doc.Records = append(doc.Records, *rec)
			return nil
		})
	})
	return doc, err
}

// addEvents adds the events of athletes to a document, athlete by athlete.
func addEvents(tx *store.Tx, doc *exchange.Document, athletes []screen.Athlete) error {
	ids := make([]string, len(athletes))
	for i := range athletes {
		ids[i] = athletes[i].ID
	}
	events, err := tx.EventsOf(ids)
	for _, id := range ids {
		doc.Events = append(doc.Events, events[id]...)
	}
	return err
}

// Seed writes invented teams, athletes, consents and records into an empty store; it serves the demo.
// What was withdrawn is withdrawn last, so that records from before are there.
func (c *Clinic) Seed(ctx context.Context, who Person, teams []screen.Team, seasons []screen.Season, athletes []screen.Athlete, members []screen.Membership, consents []screen.Consent, records []screen.Record) error {
	return c.write(ctx, who, access.Operate, gate.Programme(), func(tx *store.Tx) error {
		for i := range teams {
			if _, err := tx.PutTeam(&teams[i], 0); err != nil {
				return err
			}
		}
		for i := range seasons {
			if _, err := tx.PutSeason(seasons[i], 0); err != nil {
				return err
			}
		}
		for i := range athletes {
			if _, err := tx.PutAthlete(&athletes[i], 0); err != nil {
				return err
			}
		}
		for i := range members {
			if _, err := tx.PutMembership(members[i], 0); err != nil {
				return err
			}
		}
		if err := seedConsents(tx, consents); err != nil {
			return err
		}
		for i := range records {
			im := importer{c: c, tx: tx, who: who, team: records[i].Screen.Team, out: &Imported{}}
			if err := im.record(&records[i]); err != nil {
				return err
			}
		}
		return seedWithdrawals(tx, consents)
	})
}

// TeamNamed is the team with that id or name. isNew says that there is none: the team returned then
// has that name and a new id, and is not on record yet. Several teams of one name are refused.
func (c *Clinic) TeamNamed(ctx context.Context, who Person, name string) (t screen.Team, isNew bool, err error) {
	if t, err = c.Team(ctx, who, name); err == nil || !screen.IsCode(err, screen.NotFound) {
		return t, false, err
	}
	found, p := 0, Page{Limit: 500}
	for {
		list, next, err := c.Teams(ctx, who, p)
		if err != nil {
			return t, false, err
		}
		for i := range list {
			if list[i].Name == name {
				t = list[i]
				found++
			}
		}
		if next == "" {
			break
		}
		p.After = next
	}
	if found > 1 {
		return t, false, invalid("name the team by its id", "%d teams have this name", found)
	}
	if found == 1 {
		return t, false, nil
	}
	return screen.Team{ID: c.newID(), Name: name}, true, nil
}

// ImportNew is Import into a team that may have to be made first; the team stays only if the import
// succeeds.
func (c *Clinic) ImportNew(ctx context.Context, who Person, team screen.Team, isNew bool, r io.Reader, opt ImportOptions) (Imported, error) {
	if !isNew {
		return c.Import(ctx, who, team.ID, r, opt)
	}
	if err := c.checkTeam(&team).Err(); err != nil {
		return Imported{}, err
	}
	return c.importInto(ctx, who, &team, team.ID, r, opt)
}
