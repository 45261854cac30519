package web

import (
	"fmt"
	"slices"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// athleteSheets are paper for the athletes of a day, one page each, should there be no device.
type athleteSheets struct {
	Head
	ID       string
	TeamName string
	On       string
	RowMM    string // height of a row of boxes
	Stations []paperStation
	Symptoms []sheetSymptom // those that need a referral first
	Items    []string
	Reasons  []labelled
	Sheets   []athleteSheet
	Caution  string
}

func (*athleteSheets) file() string { return "sheets_athletes.html" }

// paperStation is what one station takes, the same for all athletes.
type paperStation struct {
	Number             int
	Name               string
	CheckIn, Checklist bool
	Rows               []sheetColumn
}

// athleteSheet is the paper of one athlete. Sides has the two sides of each row of each station.
type athleteSheet struct {
	Number             int
	Name, Born, Throws string
	Code               string
	QR                 qrView
	Twice              bool
	Sides              [][][]string
}

func (s *server) athleteSheets(ctx *gin.Context) (answer, error) {
	v, err := s.clinic.Day(ctx.Request.Context(), s.person(ctx), ctx.Param("day"))
	if err != nil {
		return answer{}, err
	}
	p := athleteSheetsOf(s.clinic.Protocol(), &v)
	for i := range v.Athletes {
		x, err := athleteSheetOf(s.clinic.Protocol(), &v, &v.Athletes[i])
		if err != nil {
			return answer{}, err
		}
		p.Sheets = append(p.Sheets, x)
	}
	return shown(p), nil
}

func athleteSheetsOf(protocol *screen.Protocol, v *clinic.DayView) *athleteSheets {
	p := &athleteSheets{Head: sheetHead("Blank sheets", v), ID: v.Day.ID, TeamName: v.Team.Name, On: day(v.Day.On),
		Symptoms: sheetSymptoms(protocol), Caution: "A screen is not a diagnosis. Pain, swelling, loss of elbow extension, numbness or instability " +
			"means: stop throwing and see a licensed clinician. Local law and licensed judgement come first."}
	slices.SortStableFunc(p.Symptoms, func(a, b sheetSymptom) int {
		switch {
		case a.Referral == b.Referral:
			return 0
		case a.Referral:
			return -1
		}
		return 1
	})
	for i := range protocol.Checklist {
		p.Items = append(p.Items, protocol.Checklist[i].Name)
	}
	for _, r := range screen.Reasons() {
		p.Reasons = append(p.Reasons, labelled{Label: reasonLetter(r), Value: reasonWords(r)})
	}
	rows := 0
	for i := range v.Day.Stations {
		st := paperStationOf(protocol, &v.Day.Stations[i], i+1)
		rows += len(st.Rows)
		p.Stations = append(p.Stations, st)
	}
	p.RowMM = rowHeight(rows, len(p.Stations))
	return p
}

// rowHeight spreads the rows of boxes over what the rest leaves of a sheet of Letter, which is the
// shorter paper, in mm. Figures tried in print.
func rowHeight(rows, stations int) string {
	const forRows, forStation, least, most = 142, 5.0, 4.0, 8.0
	h := most
	if rows > 0 {
		h = min(most, max(least, (forRows-forStation*float64(stations))/float64(rows)))
	}
	return fmt.Sprintf("%.1fmm", h)
}

func paperStationOf(protocol *screen.Protocol, st *screen.Station, number int) paperStation {
	out := paperStation{Number: number, Name: st.Name}
	for i := range st.Steps {
		step := &st.Steps[i]
		switch step.Kind {
		case screen.StepCheckIn:
			out.CheckIn = true
		case screen.StepChecklist:
			out.Checklist = true
		case screen.StepMeasure:
			if m := protocol.Measure(step.Measure); m != nil {
				out.Rows = append(out.Rows, columnOf(protocol, step, m))
			}
		}
	}
	return out
}

func athleteSheetOf(protocol *screen.Protocol, v *clinic.DayView, a *clinic.DayAthlete) (athleteSheet, error) {
	x := athleteSheet{Number: a.Number, Name: a.Person.Name, Throws: handWords(a.Hand), Code: a.Code, Twice: a.Twice}
	if a.Person.Born.Valid() {
		x.Born = string(a.Person.Born)[:4]
	}
	first := v.Day.SideOrder.FirstSide(a.Hand, a.Throws)
	for i := range v.Day.Stations {
		sides := [][]string{}
		for k := range v.Day.Stations[i].Steps {
			m := protocol.Measure(v.Day.Stations[i].Steps[k].Measure)
			switch {
			case m == nil:
			case m.Paired:
				one := []*screen.Measure{m}
				sides = append(sides, []string{sideTag(first, a, one), sideTag(first.Other(), a, one)})
			default:
				sides = append(sides, []string{""})
			}
		}
		x.Sides = append(x.Sides, sides)
	}
	var err error
	x.QR, err = qrOf(a.Code, "QR code "+a.Code)
	return x, err
}

// reasonWords is why something was not done, as it is said.
func reasonWords(r screen.Reason) string {
	if r == screen.ReasonNoTime {
		return "no time"
	}
	return string(r)
}

func reasonLetter(r screen.Reason) string {
	return map[screen.Reason]string{screen.ReasonPain: "P", screen.ReasonRefused: "R", screen.ReasonAbsent: "A", screen.ReasonNoTime: "T"}[r]
}
