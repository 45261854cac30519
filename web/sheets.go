package web

import (
	"fmt"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// stationSheets are paper for the stations of a day: one table a station with a box for each trial.
type stationSheets struct {
	Head
	ID     string
	Sheets []stationSheet
}

func (*stationSheets) file() string { return "sheets_stations.html" }

// stationSheet is the paper of one station.
type stationSheet struct {
	Number                int
	Name, Team, On, Short string
	QR                    qrView
	CheckIn, Sided, Wide  bool
	Columns               []sheetColumn
	Items                 []string // of the checklist
	Symptoms              []sheetSymptom
	Rows                  []sheetRow
	SideOrder             string
}

// sheetColumn is a measure with a box for each trial.
type sheetColumn struct {
	Name, Note string
	Trials     []int
	Paired     bool
}

// sheetRow is an athlete. Second is the second measurement of one who is measured twice.
type sheetRow struct {
	Number       int
	Name, Throws string
	Second       bool
	Sides        []string // in the order in which they are measured: "R throwing"
}

// sheetSymptom is a symptom with the letter that stands for it on paper.
type sheetSymptom struct {
	Letter, Name string
	Referral     bool
}

// columnsUpright is how many boxes fit beside the names on upright paper.
const columnsUpright = 10

func (s *server) stationSheets(ctx *gin.Context) (answer, error) {
	v, err := s.clinic.Day(ctx.Request.Context(), s.person(ctx), ctx.Param("day"))
	if err != nil {
		return answer{}, err
	}
	p := &stationSheets{Head: sheetHead("Station sheets", &v), ID: v.Day.ID}
	base := s.baseOf(ctx.Request)
	for i := range v.Day.Stations {
		x := stationSheetOf(s.clinic.Protocol(), &v, i)
		url := base + "/s/" + v.Day.Stations[i].Code
		x.Short = shortLink(base, v.Day.Stations[i].Code)
		if x.QR, err = qrOf(url, "QR code of the link to "+x.Name); err != nil {
			return answer{}, err
		}
		p.Sheets = append(p.Sheets, x)
	}
	return shown(p), nil
}

func sheetHead(title string, v *clinic.DayView) Head {
	h := Head{Title: title, Styles: []string{dayStyle}}
	h.Crumbs = []Crumb{{v.Team.Name, "/teams/" + v.Team.ID}, {"Screening day, " + day(v.Day.On), "/days/" + v.Day.ID}}
	if len(v.Athletes) == 0 {
		h.Needs = "Nobody is on the list yet: add members of the team on the board."
	}
	return h
}

func stationSheetOf(p *screen.Protocol, v *clinic.DayView, at int) stationSheet {
	st := &v.Day.Stations[at]
	x := stationSheet{Number: at + 1, Name: st.Name, Team: v.Team.Name, On: day(v.Day.On), SideOrder: sideOrderWords(v.Day.SideOrder)}
	boxes := 0
	var sided []*screen.Measure
	for i := range st.Steps {
		step := &st.Steps[i]
		switch step.Kind {
		case screen.StepCheckIn:
			x.CheckIn, x.Symptoms = true, sheetSymptoms(p)
			boxes += columnsUpright / 2
		case screen.StepChecklist:
			for k := range p.Checklist {
				x.Items = append(x.Items, p.Checklist[k].Name)
			}
			boxes += len(x.Items)
		case screen.StepMeasure:
			m := p.Measure(step.Measure)
			if m == nil {
				continue
			}
			x.Columns = append(x.Columns, columnOf(p, step, m))
			boxes += p.TrialsAt(step)
			if m.Paired {
				x.Sided, sided = true, append(sided, m)
			}
		}
	}
	x.Wide = boxes > columnsUpright
	for i := range v.Athletes {
		rows := sheetRows(&v.Athletes[i], v.Day.SideOrder, sided)
		if len(x.Columns) == 0 { // only measures are taken a second time
			rows = rows[:1]
		}
		x.Rows = append(x.Rows, rows...)
	}
	return x
}

// sheetRows is an athlete's row, and another one for the second measurement.
func sheetRows(a *clinic.DayAthlete, order screen.SideOrder, sided []*screen.Measure) []sheetRow {
	row := sheetRow{Number: a.Number, Name: a.Person.Name, Throws: shortHand(a.Hand), Sides: []string{""}}
	if len(sided) > 0 {
		first := order.FirstSide(a.Hand, a.Throws)
		row.Sides = []string{sideTag(first, a, sided), sideTag(first.Other(), a, sided)}
	}
	if !a.Twice {
		return []sheetRow{row}
	}
	again := row
	again.Second = true
	return []sheetRow{row, again}
}

// sideTag names a side of an athlete by its letter and by what it is in throwing, for all the measures
// of a row: "R throwing, trail leg".
func sideTag(side screen.Side, a *clinic.DayAthlete, measures []*screen.Measure) string {
	tag := map[screen.Side]string{screen.Left: "L", screen.Right: "R"}[side]
	var roles []string
	said := map[string]bool{}
	for _, m := range measures {
		role := m.Role(side, a.Hand, a.Throws)
		if role == "" {
			continue
		}
		if m.Limb == screen.Leg {
			role += " leg"
		}
		if !said[role] {
			said[role] = true
			roles = append(roles, role)
		}
	}
	return strings.TrimSpace(tag + " " + strings.Join(roles, ", "))
}

func columnOf(p *screen.Protocol, step *screen.Step, m *screen.Measure) sheetColumn {
	c := sheetColumn{Name: m.Name, Note: paperNote(m), Paired: m.Paired}
	for n := range p.TrialsAt(step) {
		c.Trials = append(c.Trials, n+1)
	}
	return c
}

// paperNote says in what a measure is written down, and which sign means what.
func paperNote(m *screen.Measure) string {
	if m.Scale == screen.Category {
		var parts []string
		for i, c := range m.Categories {
			parts = append(parts, fmt.Sprintf("%d %s", i, c))
		}
		return strings.Join(parts, ", ")
	}
	note := screen.UnitWords(m.Unit)
	if m.SayWords != nil {
		note += fmt.Sprintf(" (+ %s, − %s)", m.SayWords.Positive, m.SayWords.Negative)
	}
	return strings.TrimSpace(note)
}

func sheetSymptoms(p *screen.Protocol) (out []sheetSymptom) {
	for i := range p.Symptoms {
		out = append(out, sheetSymptom{letterOf(i), p.Symptoms[i].Name, p.Symptoms[i].Referral})
	}
	return out
}

// letterOf is a, b … z, then aa, bb …
func letterOf(i int) string { return strings.Repeat(string(rune('a'+i%26)), i/26+1) }
