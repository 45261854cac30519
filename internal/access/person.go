package access

import (
	"context"
	"slices"
)

// Role is what somebody is to a team.
type Role string

// The roles. The last two are never those of an account: they come with a link.
const (
	Administrator Role = "administrator"
	Clinician     Role = "clinician"
	Trainer       Role = "trainer"
	Coach         Role = "coach"
	Helper        Role = "helper"
	Family        Role = "athlete or guardian"
	Station       Role = "station link"
)

// Roles are those that an account can have.
var Roles = []Role{Administrator, Clinician, Trainer, Coach, Helper}

// AllRoles are all of them.
var AllRoles = append(slices.Clone(Roles), Family, Station)

// Grant is a role in a team; an empty Team means every team, also those to come.
type Grant struct {
	Team string `json:"team"`
	Role Role   `json:"role"`
}

// Person is who acts. The zero Person is somebody unknown, who may do nothing.
type Person struct {
	ID     string
	Name   string
	Local  bool // holds the file: the command line
	Grants []Grant
	// Scopes bound what a token may do; nil: no token.
	Scopes []Scope
	Token  string // its id, for the audit
	// Station is the code of a station link that the request came by, Athlete the athlete of a family's
	// link. Each gives access to that alone.
	Station string
	Athlete string
	Session string // id of the session, for leaving it
	Link    string // id of the link that the request came by, for the audit
}

// Subject is whose records an action is about. Kind and ID go into the audit. An action is allowed in
// it if it is allowed in one of Teams. Every says that it is about all teams.
type Subject struct {
	Kind    string // "team", "athlete", "screen", "day", "station", "account", "programme", …
	ID      string
	Teams   []string
	Athlete string // the athlete that it is about
	Station string // the code of the station that it is about
	Every   bool
	Needs   Action // what has to be allowed with this one; empty: what is done
}

// Anonymous reports whether nobody is known to act.
func (p *Person) Anonymous() bool {
	return !p.Local && p.ID == "" && p.Station == "" && p.Athlete == ""
}

// May reports whether p may do a to s.
func (p *Person) May(a Action, s *Subject) bool {
	r := ruleOf[a]
	if r == nil {
		return false
	}
	if (p.Token != "" || p.Scopes != nil) && (r.scope == "" || !slices.Contains(p.Scopes, r.scope)) {
		return false
	}
	if p.Local {
		return true
	}
	if p.Station != "" && p.Station == s.Station && slices.Contains(r.roles, Station) {
		return true
	}
	if p.Athlete != "" && p.Athlete == s.Athlete && slices.Contains(r.roles, Family) {
		return true
	}
	for _, g := range p.Grants {
		if !slices.Contains(r.roles, g.Role) {
			continue
		}
		if g.Team == "" || !s.Every && slices.Contains(s.Teams, g.Team) {
			return true
		}
	}
	return false
}

// Knows reports whether s may be known to p at all: somebody of another team is told that it does not
// exist.
func (p *Person) Knows(s *Subject) bool {
	if p.Local || p.Station != "" && p.Station == s.Station || p.Athlete != "" && p.Athlete == s.Athlete {
		return true
	}
	return slices.ContainsFunc(p.Grants, func(g Grant) bool { return g.Team == "" || slices.Contains(s.Teams, g.Team) })
}

// In lists the teams in which p may do a; every is true for all of them.
func (p *Person) In(a Action) (teams []string, every bool) {
	if p.May(a, &Subject{Every: true}) {
		return nil, true
	}
	for _, g := range p.Grants {
		if g.Team != "" && !slices.Contains(teams, g.Team) && p.May(a, &Subject{Teams: []string{g.Team}}) {
			teams = append(teams, g.Team)
		}
	}
	return teams, false
}

// May reports whether the role may do a, for the table of roles.
func (r Role) May(a Action) bool { return ruleOf[a] != nil && slices.Contains(ruleOf[a].roles, r) }

// Local acts at the command line.
var Local = Person{ID: "local", Name: "local administrator", Local: true}

type key int

const (
	personKey key = iota
	requestKey
)

// Request is what the audit says of how something was asked for.
type Request struct {
	ID  string // of the request, as the log has it
	Via string // method and route pattern, or the command; never an address with ids in it
}

// With puts who acts into a context.
func With(ctx context.Context, p Person) context.Context { return context.WithValue(ctx, personKey, p) }

// From is who acts; the zero Person if nobody was put in.
func From(ctx context.Context) Person {
	p, _ := ctx.Value(personKey).(Person)
	return p
}

// WithRequest puts the request into a context.
func WithRequest(ctx context.Context, r Request) context.Context {
	return context.WithValue(ctx, requestKey, r)
}

// RequestOf is the request in a context.
func RequestOf(ctx context.Context) Request {
	r, _ := ctx.Value(requestKey).(Request)
	return r
}
