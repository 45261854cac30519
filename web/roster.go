package web

import (
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/exchange"
	"evenhand/internal/screen"
)

// rosterPages are the pages of this file and those beside it.
var rosterPages = []page{&rosterPage{}}

func (s *server) rosterRoutes(r *gin.RouterGroup) {
	s.form(r, "/teams/:team/roster", s.rosterForm, s.readRoster)
}

// rosterPage takes a roster, shows what it was understood as, and adds it when that is confirmed. What
// was read travels with the page, so that nothing is kept between its steps.
type rosterPage struct {
	Head
	Team    screen.Team
	Pasted  string
	Faults  []faultRow // of the file or of the meanings of columns
	Tables  []rosterSheet
	Columns []rosterColumn
	Choices []exchange.MeaningChoice
	Sports  []screen.Sport
	Levels  []screen.Level
	AllRows rosterAll
	Set     exchange.RosterSettings
	SameAll clinic.SameAnswer
	Preview *clinic.RosterPreview
	Notes   []string
	Shown   rosterShown
	Done    *rosterDone
}

func (*rosterPage) file() string { return "roster.html" }

// rosterSheet is a table of the file, as it travels with the page.
type rosterSheet struct {
	Name, Text string
	Rows       int
	Hidden     bool
	Chosen     bool
}

type rosterColumn struct {
	Heading, Note, Examples string
	Means                   exchange.Meaning
}

// rosterAll says which questions are asked once for all rows, as no column answers them.
type rosterAll struct{ Sport, Level, Sex bool }

// rosterShown is the part of the rows that the page shows.
type rosterShown struct {
	Faulty                  []faultRow
	MoreFaulty              int // rows
	Asked, Known, New       []clinic.RosterLine
	MoreAsked               int
	MoreKnown, MoreNew      int
	AskDates                bool
	AddWords, AddRightWords string
}

type rosterDone struct{ Added, Joined, Known, Twice, LeftOut int }

// How much of a large roster a page shows.
const (
	faultyShown = 200
	linesShown  = 50
)

func (s *server) rosterPage(ctx *gin.Context) (*rosterPage, error) {
	t, err := s.clinic.Team(ctx.Request.Context(), s.person(ctx), ctx.Param("team"))
	if err != nil {
		return nil, err
	}
	return &rosterPage{Head: Head{Title: "Roster for " + t.Name, Crumbs: []Crumb{{t.Name, "/teams/" + t.ID}}}, Team: t,
		Choices: exchange.MeaningChoices(), Sports: s.clinic.Protocol().Sports, Levels: screen.Levels()}, nil
}

func (s *server) rosterForm(ctx *gin.Context) (answer, error) {
	p, err := s.rosterPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) readRoster(ctx *gin.Context) (answer, error) {
	tidy, err := s.readUpload(ctx)
	if err != nil {
		return answer{}, err
	}
	defer tidy()
	p, err := s.rosterPage(ctx)
	if err != nil {
		return answer{}, err
	}
	in, err := s.rosterInput(ctx, p)
	if err == nil {
		err = s.judgeRoster(ctx, p, in)
	}
	if faults := faultsOf(err); faults != nil {
		p.Tables = nil
		p.Faults = faultRows(faults)
		p.Needs = "This cannot be read as a roster. Nothing was changed."
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	if p.Done == nil && (len(p.Preview.Faults) > 0 || p.Preview.Changed) {
		return refused(p), nil
	}
	return shown(p), nil
}

// judgeRoster previews the roster, or adds it if the form says so.
func (s *server) judgeRoster(ctx *gin.Context, p *rosterPage, in *clinic.RosterInput) (err error) {
	c, who, do := ctx.Request.Context(), s.person(ctx), ctx.PostForm("do")
	if do == "add" || do == "part" {
		p.Preview, err = s.clinic.AddRoster(c, who, p.Team.ID, in, ctx.PostForm("seen"), do == "part")
	} else {
		p.Preview, err = s.clinic.PreviewRoster(c, who, p.Team.ID, in)
	}
	if err != nil {
		return err
	}
	p.tell(in)
	return nil
}

// rosterInput is the table that is meant, with all that the form says about it.
func (s *server) rosterInput(ctx *gin.Context, p *rosterPage) (*clinic.RosterInput, error) {
	tables, fresh, err := s.rosterTables(ctx, p)
	if err != nil {
		return nil, err
	}
	chosen, _ := strconv.Atoi(ctx.PostForm("sheet"))
	if fresh || chosen < 0 || chosen >= len(tables) {
		chosen = 0
	}
	t := tables[chosen]
	for i, x := range tables {
		p.Tables = append(p.Tables, rosterSheet{Name: x.Sheet, Text: x.Text(), Rows: len(x.Rows), Hidden: x.Hidden, Chosen: i == chosen})
	}
	in := &clinic.RosterInput{Table: t, Same: map[int]clinic.SameAnswer{}}
	in.Settings = exchange.RosterSettings{Means: exchange.Recognise(t.Headings), Sport: p.Team.Sport}
	if fresh {
		return in, nil
	}
	set := &in.Settings
	set.Sport, set.Level, set.Sex = ctx.DefaultPostForm("all_sport", p.Team.Sport), screen.Level(ctx.PostForm("all_level")), screen.Sex(ctx.PostForm("all_sex"))
	if ctx.PostForm("mapped") != strconv.Itoa(chosen) { // another sheet has other columns
		return in, nil
	}
	for i := range set.Means {
		set.Means[i] = exchange.Meaning(ctx.DefaultPostForm("means"+strconv.Itoa(i), string(set.Means[i])))
	}
	if o := exchange.DateOrder(ctx.PostForm("dates")); o == exchange.DayFirst || o == exchange.MonthFirst {
		set.Dates = o
	}
	in.SameAll = clinic.SameAnswer(ctx.PostForm("same"))
	for i := range t.Rows {
		if a := ctx.PostForm("same" + strconv.Itoa(t.Rows[i].Row)); a != "" {
			in.Same[t.Rows[i].Row] = clinic.SameAnswer(a)
		}
	}
	return in, nil
}

// rosterTables are the tables that travel with the form, or those of a new file or text.
func (s *server) rosterTables(ctx *gin.Context, p *rosterPage) (out []*exchange.RosterTable, fresh bool, err error) {
	for _, text := range ctx.PostFormArray("table") {
		t, err := exchange.ParseRosterTable(text)
		if err != nil {
			return nil, false, err
		}
		out = append(out, t)
	}
	if len(out) > 0 {
		return out, false, nil
	}
	in, closeInput, err := fileOrText(ctx, &p.Pasted)
	if err != nil {
		return nil, false, err
	}
	defer closeInput()
	if in == nil {
		return nil, false, screen.Faults{{Problem: "nothing was given", Want: "choose a file, or paste the text"}}
	}
	read, err := exchange.ReadRosterFile(in, exchange.Options{Today: s.clinic.Today(), MaxBytes: s.maxUpload})
	if err != nil {
		return nil, false, err
	}
	for i := range read {
		out = append(out, &read[i])
	}
	return out, true, nil
}

// tell puts the preview into the page.
func (p *rosterPage) tell(in *clinic.RosterInput) {
	p.Set, p.SameAll = in.Settings, in.SameAll
	p.Notes = slices.Concat(in.Table.Notes, p.Preview.Notes)
	if p.Preview.Added {
		n := p.Preview.Count
		p.Done = &rosterDone{n[clinic.RosterNew], n[clinic.RosterJoins], n[clinic.RosterKnown], n[clinic.RosterTwice], n[clinic.RosterFaulty]}
		p.Tables = nil
		p.Needs = "Added: " + count(p.Done.Added, "athlete", "athletes") + ". " + joined(p.Done.Joined)
		return
	}
	p.columns(in)
	for _, f := range p.Preview.Faults {
		p.Faults = append(p.Faults, faultRow{Where: f.Where, Problem: upperFirst(f.Problem), Want: upperFirst(f.Want)})
	}
	p.lines()
	p.Needs = p.needs()
}

func (p *rosterPage) columns(in *clinic.RosterInput) {
	p.AllRows = rosterAll{true, true, true}
	for i, h := range in.Table.Headings {
		m := in.Settings.Means[i]
		c := rosterColumn{Heading: h, Means: m, Note: exchange.ColumnNote(h, m)}
		var examples []string
		for k := 0; k < len(in.Table.Rows) && k < linesShown && len(examples) < 3; k++ {
			if x := in.Table.Rows[k].Cells[i]; x != "" && !slices.Contains(examples, x) {
				examples = append(examples, x)
			}
		}
		c.Examples = strings.Join(examples, " · ")
		p.Columns = append(p.Columns, c)
		p.AllRows.Sport = p.AllRows.Sport && m != exchange.MeansSport
		p.AllRows.Level = p.AllRows.Level && m != exchange.MeansLevel
		p.AllRows.Sex = p.AllRows.Sex && m != exchange.MeansSex
	}
}

// lines picks the rows that are shown.
func (p *rosterPage) lines() {
	x, faulty := &p.Shown, 0
	x.AskDates = p.Preview.Dates.Ask || p.Preview.Dates.Given
	for _, l := range p.Preview.Lines {
		if l.Asked {
			x.Asked, x.MoreAsked = some(x.Asked, x.MoreAsked, l)
		}
		switch l.Outcome {
		case clinic.RosterFaulty:
			if faulty++; faulty > faultyShown {
				x.MoreFaulty++
				continue
			}
			x.Faulty = append(x.Faulty, faultRows(l.Faults)...)
		case clinic.RosterKnown, clinic.RosterJoins, clinic.RosterTwice:
			x.Known, x.MoreKnown = some(x.Known, x.MoreKnown, l)
		case clinic.RosterNew:
			x.New, x.MoreNew = some(x.New, x.MoreNew, l)
		}
	}
	n := p.Preview.Count
	if p.Preview.Ready() {
		words := addWords(n[clinic.RosterNew], n[clinic.RosterJoins])
		if n[clinic.RosterFaulty] == 0 {
			x.AddWords = words
		} else {
			x.AddRightWords = words + ", leave out the " + count(n[clinic.RosterFaulty], "faulty row", "faulty rows")
		}
	}
}

func some(list []clinic.RosterLine, more int, l clinic.RosterLine) ([]clinic.RosterLine, int) {
	if len(list) == linesShown {
		return list, more + 1
	}
	return append(list, l), more
}

func faultRows(faults []screen.Fault) (out []faultRow) {
	for _, f := range faults {
		row := faultRow{Where: f.Where, Problem: upperFirst(f.Problem), Value: f.Value, Want: upperFirst(f.Want)}
		if m := rowAndColumn.FindStringSubmatch(f.Where); m != nil {
			row.Row, row.Column = m[1], m[2]
		}
		out = append(out, row)
	}
	return out
}
