package web

import (
	"bytes"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// boardPage is the state of a screening day. Its main part is also sent alone, for the page to keep
// itself up to date.
type boardPage struct {
	Head
	ID         string
	Team       screen.Team
	Revision   int
	Closed     string // when; empty: open
	Now        string // clock time at which this was so
	Line       string // what needs attention
	LineUrgent bool
	Progress   string
	Stations   []boardStation
	Rows       []boardRow
	Holds      []boardHold
	Without    []clinic.BoardRef // no consent for screening
	MayConsent bool
	Conflicts  []boardConflict
	Again      []boardAgain
	Late       []string
	Changes    []string
	Unlisted   []memberRow
	SideOrder  string
	WalkOn     walkOnForm
	Levels     []screen.Level
}

func (*boardPage) file() string { return "board.html" }

// boardStation is how far a station is, in words.
type boardStation struct {
	Number                                                 int
	Code, Name, Through, Cells, Pace, End, Helpers, LastAt string
}

// boardRow is an athlete's way through the stations.
type boardRow struct {
	Number              int
	Athlete, Name, Hand string
	Notes               []string // on hold, measured twice, came late
	Marks               []boardMark
	Details             []boardDetail
	MissingN            int
	Hold, Complete      bool
	Without             bool // no consent for screening
}

// boardMark is what one station has of one athlete. Short is the same for a narrow screen.
type boardMark struct {
	Number      int
	Station     string
	Text, Short string
	More        []string
	Nothing     bool
}

// boardDetail is all that is to say of an athlete at one station.
type boardDetail struct {
	Station string
	Words   []string
	Missing []string
}

// boardHold is an athlete on hold, with the form that lifts the hold.
type boardHold struct {
	Athlete, Name string
	Number        int
	Signs         []string
	Why, Fault    string // as typed, and what is wrong with it
}

// boardConflict is a cell that two helpers measured.
type boardConflict struct {
	Number             int
	Name, What, Screen string
	Readings           []string
}

// boardAgain is something to measure again.
type boardAgain struct {
	Number              int
	Name, Text, Station string
	Screen              string
}

// livePart is the part of the board that is sent alone.
const livePart = "live"

// boardOrPart sends the board, or only the part of it that changes through the day.
func (s *server) boardOrPart(ctx *gin.Context) {
	if ctx.Query("part") != livePart {
		s.answer(s.board)(ctx)
		return
	}
	p, err := s.boardPage(ctx)
	if err != nil {
		s.fail(ctx, err)
		return
	}
	var b bytes.Buffer
	if err := s.looks.byFile[p.file()].ExecuteTemplate(&b, livePart, p); err != nil {
		s.fail(ctx, fmt.Errorf("render the live part of %s: %w", p.file(), err))
		return
	}
	ctx.Header("Cache-Control", "no-store")
	ctx.Header("Content-Length", strconv.Itoa(b.Len()))
	ctx.Data(http.StatusOK, "text/html; charset=utf-8", b.Bytes())
}

func (s *server) board(ctx *gin.Context) (answer, error) {
	p, err := s.boardPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) boardPage(ctx *gin.Context) (*boardPage, error) {
	b, err := s.clinic.Board(ctx.Request.Context(), s.person(ctx), ctx.Param("day"))
	if err != nil {
		return nil, err
	}
	p := boardOf(&b)
	p.Without, p.MayConsent = b.Without, b.Day.On >= s.clinic.Today()
	p.WalkOn.ID, p.Levels = s.clinic.NewID(), screen.Levels()
	return p, nil
}

// boardOf puts a board into words.
func boardOf(b *clinic.Board) *boardPage {
	p := &boardPage{Head: Head{Title: b.Team.Name + ", " + day(b.Day.On), Styles: []string{dayStyle}, Scripts: []string{"board.js"}},
		ID: b.Day.ID, Team: b.Team, Revision: b.Day.Revision, Now: clock(b, b.Now), Changes: b.Changes, SideOrder: sideOrderWords(b.Day.SideOrder)}
	p.Crumbs = []Crumb{{"Teams", "/"}, {b.Team.Name, "/teams/" + b.Team.ID}, {"Screening day, " + occasionWords(b.Day.Kind), ""}}
	if !b.Day.Closed.IsZero() {
		p.Closed = clock(b, b.Day.Closed)
	}
	p.Line, p.LineUrgent = boardNeeds(b)
	p.Progress = fmt.Sprintf("%d of %s complete", b.Complete, count(len(b.Rows), "athlete", "athletes"))
	names := map[string]string{}
	for i := range b.Stations {
		names[b.Stations[i].Code] = b.Stations[i].Name
		p.Stations = append(p.Stations, stationInWords(b, &b.Stations[i], i+1))
	}
	for i := range b.Rows {
		p.Rows = append(p.Rows, rowInWords(b, &b.Rows[i]))
	}
	for _, h := range b.Holds {
		p.Holds = append(p.Holds, boardHold{Athlete: h.Athlete, Name: h.Name, Number: h.Number, Signs: h.Signs})
	}
	for i := range b.Conflicts {
		p.Conflicts = append(p.Conflicts, conflictInWords(b, &b.Conflicts[i]))
	}
	for _, q := range b.Again {
		p.Again = append(p.Again, boardAgain{Number: q.Number, Name: q.Name, Text: q.Text, Station: names[q.Station], Screen: q.Screen})
	}
	for _, l := range b.Late {
		by := ""
		if len(l.Examiners) > 0 {
			by = " by " + strings.Join(l.Examiners, ", ")
		}
		p.Late = append(p.Late, fmt.Sprintf("%d %s: %s%s, the last at %s", l.Number, l.Name, count(l.N, "entry", "entries"), by, clock(b, l.Last)))
	}
	for i := range b.Unlisted {
		a := &b.Unlisted[i]
		p.Unlisted = append(p.Unlisted, memberRow{a.ID, a.Name, day(a.Born), handWords(a.HandOn(b.Day.On))})
	}
	return p
}

// clock is a time of the day in the zone of the board's own time, or in that of the machine if the
// board goes by UTC; with the date if that is another one.
func clock(b *clinic.Board, t time.Time) string {
	if t.IsZero() {
		return ""
	}
	zone := b.Now.Location()
	if zone == time.UTC {
		zone = time.Local
	}
	t = t.In(zone)
	if on := screen.DateOf(t); on != screen.DateOf(b.Now.In(zone)) {
		return t.Format("15:04") + " on " + day(on)
	}
	return t.Format("15:04")
}

// boardNeeds says in one line what a day needs.
func boardNeeds(b *clinic.Board) (line string, urgent bool) {
	var parts []string
	if n := len(b.Holds); n > 0 {
		parts = append(parts, fmt.Sprintf("%d on hold: referral signs.", n))
	}
	if n := len(b.Without); n > 0 {
		parts = append(parts, fmt.Sprintf("%d without consent: not to be measured.", n))
	}
	if n := len(b.Conflicts); n > 0 {
		parts = append(parts, fmt.Sprintf("%d measured by two helpers.", n))
	}
	if n := len(b.Again); n > 0 {
		parts = append(parts, fmt.Sprintf("%d to measure again.", n))
	}
	if n := len(b.Late); n > 0 {
		parts = append(parts, fmt.Sprintf("Late entries for %s.", count(n, "athlete", "athletes")))
	}
	if len(b.Rows) == 0 {
		parts = append(parts, "Nobody is on the list yet: add members of the team, or somebody who walks on.")
	}
	if len(parts) == 0 {
		return "Nothing needs you now.", false
	}
	return strings.Join(parts, " "), len(b.Holds) > 0
}

func stationInWords(b *clinic.Board, st *clinic.BoardStation, number int) boardStation {
	out := boardStation{Number: number, Code: st.Code, Name: st.Name, Through: fmt.Sprintf("%d of %d", st.Through, st.Of),
		Cells: fmt.Sprintf("%s of %s", grouped(st.Filled), grouped(st.Cells)), Pace: "not known yet", End: "not known yet",
		Helpers: "nobody yet", LastAt: "nothing yet"}
	if st.PerHour > 0 {
		out.Pace = paceWords(st.PerHour)
	}
	switch {
	case st.Of > 0 && st.Through >= st.Of:
		out.End = "through"
	case !st.End.IsZero():
		out.End = "about " + clock(b, st.End)
	}
	if len(st.Helpers) > 0 {
		out.Helpers = strings.Join(st.Helpers, ", ")
	}
	if !st.Last.IsZero() {
		out.LastAt = clock(b, st.Last)
	}
	return out
}

func paceWords(perHour float64) string {
	if perHour < 1 {
		return "fewer than 1 an hour lately"
	}
	return fmt.Sprintf("%.0f an hour lately", math.Round(perHour))
}

func conflictInWords(b *clinic.Board, c *clinic.BoardConflict) boardConflict {
	out := boardConflict{Number: c.Number, Name: c.Name, What: c.Measure, Screen: c.Screen}
	if c.Side == screen.Left || c.Side == screen.Right {
		out.What += ", " + string(c.Side)
	}
	for _, r := range c.Readings {
		by := r.Examiner
		if by == "" {
			by = "somebody"
		}
		text := r.Trials + " by " + by
		if !r.At.IsZero() {
			text += " at " + clock(b, r.At)
		}
		if r.Late {
			text += ", late"
		}
		out.Readings = append(out.Readings, text)
	}
	return out
}
