package web

import (
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// readingsPage is all that was read at a screen, link by link.
type readingsPage struct {
	Head
	Screen    screen.Screen
	Athlete   screen.Athlete
	Links     []linkReadings
	Corrected int
}

func (*readingsPage) file() string { return "screen.html" }

type linkReadings struct {
	Name     string
	Measures []measureReadings
}

type measureReadings struct {
	Name, Unit, Position string
	Rows                 []readingRow
}

type readingRow struct {
	ID, Side, Value, Trials string
	By, Entered             string
	Struck                  bool   // corrected by another one, or taken back
	Why                     string // why it was corrected, or why it corrects
	Corrects                bool
}

func (s *server) readings(ctx *gin.Context) (answer, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	rec, err := s.clinic.Record(c, who, ctx.Param("screen"))
	if err != nil {
		return answer{}, err
	}
	team, err := s.clinic.Team(c, who, rec.Screen.Team)
	if err != nil {
		return answer{}, err
	}
	p := &readingsPage{Head: Head{Title: "Readings of " + day(rec.Screen.On)}, Screen: rec.Screen, Athlete: rec.Athlete}
	p.Crumbs = []Crumb{{team.Name, "/teams/" + team.ID}, {rec.Athlete.Name, athleteURL(rec)}}
	why := map[string]string{}
	for i := range rec.Readings {
		if r := &rec.Readings[i]; r.Supersedes != "" {
			why[r.Supersedes] = r.Why
		}
		if !rec.Readings[i].Stands() {
			p.Corrected++
		}
	}
	p.Needs = count(len(rec.Readings)-p.Corrected, "reading is", "readings are") + " in use."
	if p.Corrected > 0 {
		p.Needs += " " + count(p.Corrected, "was", "were") + " corrected and " + plural(p.Corrected, "stands", "stand") + " struck through."
	}
	s.byLink(p, rec, why)
	return shown(p), nil
}

func athleteURL(rec *screen.Record) string {
	return "/athletes/" + rec.Athlete.ID + "?screen=" + rec.Screen.ID
}

// byLink sorts the readings under links and measures, in the order of the protocol.
func (s *server) byLink(p *readingsPage, rec *screen.Record, why map[string]string) {
	protocol := s.clinic.Protocol()
	subject := protocol.SubjectOn(&rec.Athlete, rec.Screen.On)
	hand := rec.Athlete.HandOn(rec.Screen.On)
	named := subject.Throws && (hand == screen.LeftHand || hand == screen.RightHand)
	byMeasure := map[string][]*screen.Reading{}
	for i := range rec.Readings {
		r := &rec.Readings[i]
		byMeasure[r.Measure] = append(byMeasure[r.Measure], r)
	}
	for i := range protocol.Links {
		link := linkReadings{Name: protocol.Links[i].Name}
		for k := range protocol.Measures {
			m := &protocol.Measures[k]
			if m.Link != protocol.Links[i].ID || len(byMeasure[m.ID]) == 0 {
				continue
			}
			out := measureReadings{Name: m.Name, Unit: screen.UnitWords(m.Unit), Position: m.Position}
			for _, r := range byMeasure[m.ID] {
				out.Rows = append(out.Rows, readingRowOf(r, m, hand, named, why))
			}
			link.Measures = append(link.Measures, out)
			delete(byMeasure, m.ID)
		}
		if len(link.Measures) > 0 {
			p.Links = append(p.Links, link)
		}
	}
	p.unknown(byMeasure, why)
}

// unknown adds readings of measures that the protocol in use does not have: they stay on record.
func (p *readingsPage) unknown(rest map[string][]*screen.Reading, why map[string]string) {
	link := linkReadings{Name: "Not in this protocol"}
	for id, list := range rest {
		out := measureReadings{Name: id}
		for _, r := range list {
			out.Rows = append(out.Rows, readingRowOf(r, nil, "", false, why))
		}
		link.Measures = append(link.Measures, out)
	}
	if len(link.Measures) > 0 {
		p.Links = append(p.Links, link)
	}
}

func readingRowOf(r *screen.Reading, m *screen.Measure, hand screen.Hand, named bool, why map[string]string) readingRow {
	row := readingRow{ID: r.ID, Side: sideWords(hand, named, m, r.Side), Trials: trialWords(r, m), By: r.Examiner,
		Struck: !r.Stands(), Corrects: r.Supersedes != "", Why: r.Why}
	switch {
	case r.Withdrawn != "":
		row.Why = "taken back: " + r.Withdrawn
	case row.Struck:
		row.Why = why[r.ID]
	}
	if !r.Entered.IsZero() {
		row.Entered = r.Entered.UTC().Format("2 Jan 2006 15:04") + " UTC"
	}
	return row
}

// trialWords writes a reading's trials as they were called out.
func trialWords(r *screen.Reading, m *screen.Measure) string {
	out := make([]string, len(r.Trials))
	for i, x := range r.Trials {
		switch {
		case m == nil:
			out[i] = score.Number(x, nil)
		case m.Scale == screen.Category && x >= 0 && int(x) < len(m.Categories):
			out[i] = m.Categories[int(x)]
		default:
			out[i] = withUnit(plainNumber(x), m.Unit)
		}
	}
	return strings.Join(out, ", ")
}
