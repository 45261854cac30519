package exchange

import (
	"bytes"
	"fmt"
	"io"
	"sort"
	"strings"
	"unicode/utf8"

	"evenhand/internal/screen"
)

var byteOrderMark = []byte("\xef\xbb\xbf")

// ReadJSON reads a document of athletes, screens and events. It is strict: unknown and repeated fields, values
// of another type, numbers that are not finite and anything after the document are faults, each with
// its JSON path. All faults up to a hundred are told at once, as screen.Faults; any other error is
// one of r.
func ReadJSON(r io.Reader, p *screen.Protocol, opt Options) (*Document, error) {
	data, err := readLimited(r, opt)
	if err != nil {
		return nil, err
	}
	return parseJSON(data, p, opt)
}

func parseJSON(data []byte, p *screen.Protocol, opt Options) (*Document, error) {
	data = bytes.TrimPrefix(data, byteOrderMark)
	b := builder{p: p, opt: opt, doc: &Document{}, athletes: map[string]known{}, screens: map[string]string{}, parts: map[string]string{}, events: map[string]string{}}
	if at := invalidUTF8(data); at >= 0 {
		line, column := position(data, int64(at))
		b.faults.add(screen.Fault{Problem: fmt.Sprintf("line %d, column %d is not UTF-8", line, column), Want: "JSON in UTF-8"})
		return nil, b.faults.err()
	}
	w := newWalker(data, &b.faults)
	var raw rawDocument
	fine := object(w, "", documentFields, &raw)
	w.end()
	if fine && !raw.hasAthletes && !raw.hasScreens && !raw.hasEvents {
		b.faults.add(screen.Fault{Problem: "the document has neither athletes nor screens", Want: `{"athletes": […], "screens": […]}`})
	}
	if !w.broken { // after a broken text every reference could be to what was lost
		b.build(&raw)
	}
	if err := b.faults.err(); err != nil {
		return nil, err
	}
	b.doc.ask(p)
	return b.doc, nil
}

// invalidUTF8 is the place of the first byte that is not UTF-8, -1 if all are.
func invalidUTF8(data []byte) int {
	if utf8.Valid(data) {
		return -1
	}
	for i := 0; ; {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n <= 1 {
			return i
		}
		i += n
	}
}

// builder turns the form of a document into records and checks what they say.
type builder struct {
	p        *screen.Protocol
	opt      Options
	doc      *Document
	faults   collector
	athletes map[string]known  // by id
	screens  map[string]string // id -> path
	parts    map[string]string // id of a reading, answer … -> path
	events   map[string]string // id -> path
}

// known is an athlete of the document. One at fault is known by id only, so that a wrong birth date is
// not told again for every screen.
type known struct {
	athlete *screen.Athlete
	path    string
}

func (b *builder) build(raw *rawDocument) {
	for i := range raw.athletes {
		b.athlete(&raw.athletes[i], fmt.Sprintf("athletes[%d]", i))
	}
	for i := range raw.screens {
		b.screen(&raw.screens[i], fmt.Sprintf("screens[%d]", i))
	}
	for i := range raw.events {
		b.event(&raw.events[i], fmt.Sprintf("events[%d]", i))
	}
	first := map[string]string{}
	for i := range raw.consents {
		b.consent(&raw.consents[i], fmt.Sprintf("consents[%d]", i), first)
	}
}

func (b *builder) athlete(raw *rawAthlete, path string) {
	a := &raw.Athlete
	if first, ok := b.athletes[a.ID]; ok && a.ID != "" {
		b.twice(path, "athlete", a.ID, first.path)
		return
	}
	b.athletes[a.ID] = known{&screen.Athlete{ID: a.ID}, path}
	if !raw.ok {
		return
	}
	if raw.hands && raw.throws != "" {
		b.faults.add(screen.Fault{Where: path + ".throws", Problem: "both throws and hands are given", Want: "throws for a hand that always held, hands for one that changed"})
		return
	}
	if !raw.hands && raw.throws != "" {
		a.Hands = []screen.HandSince{{Hand: screen.Hand(raw.throws)}}
	}
	if len(a.Hands) > maxHands {
		b.faults.add(tooManyHands(path+".hands", len(a.Hands)))
		return
	}
	faults := b.p.CheckAthlete(a, b.opt.Today, path)
	for i := range faults {
		if raw.hands {
			faults[i].Where = strings.Replace(faults[i].Where, path+".throws", path+".hands", 1)
		}
	}
	b.faults.all(faults)
	if len(faults) == 0 {
		b.athletes[a.ID] = known{a, path}
	}
	b.doc.Athletes = append(b.doc.Athletes, *a)
}

func (b *builder) twice(path, what, id, first string) {
	b.faults.add(screen.Fault{Where: path + ".id", Problem: fmt.Sprintf("the id of the %s stands at %s already", what, first), Want: "each id once", Value: clip(id, 70)})
}

func (b *builder) screen(raw *rawScreen, path string) {
	s := &raw.Screen
	if first, ok := b.screens[s.ID]; ok && s.ID != "" {
		b.twice(path, "screen", s.ID, first)
		return
	}
	b.screens[s.ID] = path
	athlete := b.find(&s.Athlete, raw.ok, path)
	b.team(s, path)
	if raw.ok {
		b.faults.all(screen.CheckScreen(s, athlete, b.opt.Today, path))
	}
	rec := screen.Record{Screen: *s, Athlete: *athlete}
	if n := len(raw.readings); n > screen.MaxReadings {
		b.faults.add(screen.Fault{Where: path + ".readings", Problem: fmt.Sprintf("the screen has %d readings", n), Want: fmt.Sprintf("at most %d", screen.MaxReadings)})
		return
	}
	for j := range raw.readings {
		b.reading(&rec, &raw.readings[j], j, fmt.Sprintf("%s.readings[%d]", path, j))
	}
	b.notDone(&rec, raw.notDone, path+".not_done")
	b.answers(&rec, raw.checklist, path+".checklist")
	b.symptoms(&rec, raw.symptoms, path+".symptoms")
	b.doc.Records, b.doc.Places = append(b.doc.Records, rec), append(b.doc.Places, path)
}

// event checks what an event says; if its form is at fault, only its id and athlete.
func (b *builder) event(raw *rawPart[screen.Event], path string) {
	e := &raw.part
	if first, ok := b.events[e.ID]; ok && e.ID != "" {
		b.twice(path, "event", e.ID, first)
		return
	}
	b.events[e.ID] = path
	b.find(&e.Athlete, raw.ok, path)
	if raw.ok {
		b.faults.all(b.p.CheckEvent(e, b.opt.Today, path))
	}
	b.doc.Events = append(b.doc.Events, *e)
}

// consent looks only for whose it is: what is right in it depends on the age of majority that the reader
// of the document has.
func (b *builder) consent(raw *rawPart[screen.Consent], path string, first map[string]string) {
	c := &raw.part
	if at, ok := first[c.ID]; ok && c.ID != "" {
		b.twice(path, "consent", c.ID, at)
		return
	}
	first[c.ID] = path
	b.find(&c.Athlete, raw.ok, path)
	b.doc.Consents = append(b.doc.Consents, *c)
}

// find is the athlete that a screen or an event refers to; an empty one, and a fault, if there is none.
// Without a fine form only what is named wrongly is told.
func (b *builder) find(ref *string, fine bool, path string) *screen.Athlete {
	if a, ok := b.athletes[*ref]; ok {
		return a.athlete
	}
	if b.opt.Known != nil {
		if a := b.opt.Known(*ref); a != nil {
			*ref = a.ID
			return a
		}
	}
	if fine || *ref != "" {
		want := "the id of an athlete of the document"
		if near := screen.Nearest(*ref, b.athleteIDs()); near != "" {
			want = fmt.Sprintf("did you mean %q?", near)
		}
		b.faults.add(screen.Fault{Where: path + ".athlete", Problem: fmt.Sprintf("no athlete has the id %q", clip(*ref, 70)), Want: want, Value: clip(*ref, 70)})
	}
	return &screen.Athlete{}
}

func (b *builder) athleteIDs() []string {
	if b.faults.full() || len(b.athletes) > 1000 { // the nearest of very many takes too long
		return nil
	}
	ids := make([]string, 0, len(b.athletes))
	for id := range b.athletes {
		ids = append(ids, id)
	}
	sort.Strings(ids)
	return ids
}

func (b *builder) team(s *screen.Screen, path string) {
	switch {
	case s.Team == "":
		s.Team = b.opt.Team
	case b.opt.Team != "" && s.Team != b.opt.Team:
		b.faults.add(screen.Fault{Where: path + ".team", Problem: "the screen is of another team", Want: fmt.Sprintf("team %q, or leave it out", b.opt.Team), Value: clip(s.Team, 70)})
	default:
		var f screen.Faults
		screen.CheckID(s.Team, path+".team", &f)
		b.faults.all(f)
	}
}
