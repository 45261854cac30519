package web

import (
	"net/url"
	"strconv"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// auditPage searches what was done, the newest first.
type auditPage struct {
	Head
	Query    auditQuery
	Rows     []auditRow
	Next     string // address of the next part
	First    string // address of the newest part, if this is another one
	CSV      string // addresses of what the search finds as a file
	JSON     string
	Narrowed bool // not everything was asked for
	Teams    []labelled
	Actions  []labelled
	Faults   []screen.Fault
	Verified string // what the check of the chain says
	Broken   bool
	Every    bool // who looks may check the whole chain
}

func (*auditPage) file() string { return "audit.html" }

// Invalid is a field with what is wrong with it.
func (p *auditPage) Invalid(field string) fieldFault {
	return fieldFault{field, faultAt(p.Faults, field)}
}

// auditQuery is a search as it was typed.
type auditQuery struct{ Who, Subject, Team, Action, Outcome, From, To string }

// auditRow is an entry. Href leads to what it is about, if who looks may see that.
type auditRow struct {
	Seq                                                     int64
	At, Who, Name, Action, Outcome, Kind, Subject, Team, By string
	Href                                                    string
	Only                                                    string // address of what this person did
	Refused                                                 bool
}

const auditAtOnce = 100

func (s *server) auditRoutes(r *gin.RouterGroup) {
	s.page(r, "/audit", s.audit)
	r.POST("/audit/verify", s.answer(s.verifyAudit))
	r.GET("/audit/export.csv", s.exportAudit(writeAuditCSV, "text/csv; charset=utf-8", "audit.csv"))
	r.GET("/audit/export.json", s.exportAudit(writeAuditJSON, "application/json", "audit.json"))
}

func (s *server) audit(ctx *gin.Context) (answer, error) {
	p, err := s.auditPage(ctx)
	if err != nil {
		return answer{}, err
	}
	if p.Faults != nil {
		return refused(p), nil
	}
	return shown(p), nil
}

func (s *server) auditPage(ctx *gin.Context) (*auditPage, error) {
	who := s.person(ctx)
	p := &auditPage{Head: Head{Title: "Audit"}, Query: typedQuery(ctx)}
	_, p.Every = who.In(access.SeeAudit)
	q, faults := p.Query.read()
	p.Faults, p.Narrowed = faults, p.Query != auditQuery{}
	p.CSV, p.JSON = p.Query.at("/audit/export.csv", 0), p.Query.at("/audit/export.json", 0)
	for _, a := range access.Actions() {
		p.Actions = append(p.Actions, labelled{Label: string(a), Value: string(a)})
	}
	p.Actions = append(p.Actions, labelled{Label: string(access.SignIn), Value: string(access.SignIn)})
	var err error
	if p.Teams, _, err = s.teamsOf(ctx, access.SeeAudit); err != nil || faults != nil {
		return p, err
	}
	before, err := strconv.ParseInt(ctx.Query("before"), 10, 64)
	if err != nil || before < 0 {
		before = 0
	}
	list, next, err := s.office.Audit(ctx.Request.Context(), who, q, before, auditAtOnce)
	if err != nil {
		return nil, err
	}
	names := map[string]string{}
	for _, t := range p.Teams {
		names[t.Label] = t.Value
	}
	for i := range list {
		p.Rows = append(p.Rows, auditRowOf(&who, &list[i], names))
	}
	if next > 0 {
		p.Next = p.Query.at("/audit", next)
	}
	if before > 0 {
		p.First = p.Query.at("/audit", 0)
	}
	return p, nil
}

func auditRowOf(who *access.Person, e *access.Entry, teams map[string]string) auditRow {
	row := auditRow{Seq: e.Seq, At: e.At.UTC().Format("2 Jan 2006 15:04:05"), Who: e.Who, Name: e.Name, Action: string(e.Action), Outcome: string(e.Outcome), Kind: e.Kind,
		Subject: e.Subject, Team: e.Team, By: e.Via, Refused: e.Outcome == access.Refused}
	if name := teams[e.Team]; name != "" {
		row.Team = name
	}
	row.Href, row.Only = auditHref(who, e), auditQuery{Who: e.Who}.at("/audit", 0)
	return row
}

// auditPlaces are the pages of what entries are about, and what one has to be allowed to open them.
var auditPlaces = map[string]struct {
	path string
	need access.Action
}{
	"athlete": {"/athletes/", access.SeeRecords}, "screen": {"/screens/", access.SeeRecords}, "team": {"/teams/", access.SeeRecords},
	"day": {"/days/", access.SeeRecords}, "account": {"/people/", access.ManagePeople},
}

func auditHref(who *access.Person, e *access.Entry) string {
	place, known := auditPlaces[e.Kind]
	if !known || e.Subject == "" || !who.May(place.need, &access.Subject{Teams: []string{e.Team}}) {
		return ""
	}
	return place.path + url.PathEscape(e.Subject)
}

func typedQuery(ctx *gin.Context) auditQuery {
	return auditQuery{Who: ctx.Query("who"), Subject: ctx.Query("subject"), Team: ctx.Query("team"), Action: ctx.Query("action"),
		Outcome: ctx.Query("outcome"), From: ctx.Query("from"), To: ctx.Query("to")}
}

// read is the search for the office. Days are days in UTC, the last one counted.
func (a auditQuery) read() (q office.AuditQuery, faults []screen.Fault) {
	q = office.AuditQuery{Who: a.Who, Subject: a.Subject, Team: a.Team, Action: access.Action(a.Action), Outcome: access.Outcome(a.Outcome)}
	for _, x := range []struct{ field, text string }{{"from", a.From}, {"to", a.To}} {
		if x.text == "" {
			continue
		}
		d, err := screen.ParseDate(x.text)
		switch {
		case err != nil:
			faults = append(faults, screen.Fault{Where: x.field, Problem: "this is not a day of the calendar", Want: "a day such as 2026-03-10", Value: x.text})
		case x.field == "from":
			q.From = d.Time()
		default:
			q.Before = d.Time().AddDate(0, 0, 1)
		}
	}
	if faults == nil && a.From != "" && a.To != "" && !q.From.Before(q.Before) {
		faults = append(faults, screen.Fault{Where: "to", Problem: "the last day is before the first one", Want: "the same day or a later one", Value: a.To})
	}
	return q, faults
}

// at is the address of the search under a path, from the entry before the one given on (0: the newest).
func (a auditQuery) at(path string, before int64) string {
	v := url.Values{}
	for name, x := range map[string]string{"who": a.Who, "subject": a.Subject, "team": a.Team, "action": a.Action, "outcome": a.Outcome, "from": a.From, "to": a.To} {
		if x != "" {
			v.Set(name, x)
		}
	}
	if before > 0 {
		v.Set("before", strconv.FormatInt(before, 10))
	}
	if len(v) == 0 {
		return path
	}
	return path + "?" + v.Encode()
}

// verifyAudit checks the whole chain.
func (s *server) verifyAudit(ctx *gin.Context) (answer, error) {
	head, broken, err := s.office.VerifyAudit(ctx.Request.Context(), s.person(ctx))
	if err != nil {
		return answer{}, err
	}
	p, err := s.auditPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.verified(head, broken)
	return shown(p), nil
}

// verified says what the check of the chain found.
func (p *auditPage) verified(head *access.Entry, broken error) {
	switch {
	case broken != nil:
		p.Broken, p.Verified = true, "The chain does not hold: "+broken.Error()+"."
		if head != nil {
			p.Verified += " It holds up to entry " + strconv.FormatInt(head.Seq, 10) + "."
		}
		p.Needs = "The audit was changed outside evenhand. Keep the file as it is, and compare it with a backup."
	case head == nil:
		p.Verified = "The chain is empty: nothing is on record yet."
	default:
		p.Verified = "Chain checked: " + count(int(head.Seq), "entry", "entries") + ", head " + head.Hash + "."
	}
}
