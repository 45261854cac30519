package access

// Action is a kind of thing that somebody wants to do. It is also what the audit says was done.
type Action string

// The actions.
const (
	SeeTeam       Action = "see team"        // name, sport, seasons
	SeeRoster     Action = "see roster"      // athletes' names, birth dates, sizes; memberships
	SeeRecords    Action = "see records"     // screens, readings, symptoms, findings, triage, course, handouts
	SeeReadiness  Action = "see readiness"   // what a coach needs: may throw or hold, mechanics focus
	SeeOwn        Action = "see own handout" // one athlete's handout and targets
	Enter         Action = "enter"           // at a station: see its sheet, send entries
	Record        Action = "record"          // screens, readings, corrections, symptoms, events
	Clear         Action = "record clearance"
	ManageDays    Action = "manage days"    // plan, list, station links, close, handouts
	ManageRoster  Action = "manage roster"  // athletes and memberships
	ManageMethod  Action = "manage method"  // own measurement errors, squad figures
	ManageTeam    Action = "manage team"    // the team itself and its seasons
	ManageConsent Action = "manage consent" // record and withdraw
	ManageLinks   Action = "manage links"   // an athlete's or guardian's link
	ManagePeople  Action = "manage people"  // accounts, invitations, roles
	SeeAudit      Action = "see audit"
	ExportTeam    Action = "export team"
	ExportAthlete Action = "export athlete" // everything held about one
	Erase         Action = "erase"          // an athlete, and the list of what falls due
	Operate       Action = "operate"        // settings, backups, new teams
	SignIn        Action = "sign in"        // for the audit: nobody needs to be allowed to
	OwnAccount    Action = "own account"    // password, second factor, passkeys, tokens, sessions
)

// Scope is a group of actions that a token may be given.
type Scope string

// The scopes. What is in none of them cannot be done with a token.
const (
	ScopeRead   Scope = "read"
	ScopeEnter  Scope = "enter"
	ScopeManage Scope = "manage"
)

// Scopes lists the scopes.
var Scopes = []Scope{ScopeRead, ScopeEnter, ScopeManage}

// rule says of an action who may do it.
type rule struct {
	action   Action
	roles    []Role
	scope    Scope  // of a token that may do it; empty: none
	personal bool   // about persons or their health: that somebody looked is recorded
	words    string // for the table of roles
}

// rules is the one place where it is decided which role may do what. What is not in it nobody may.
var rules = []rule{
	{SeeTeam, []Role{Administrator, Clinician, Trainer, Coach, Helper}, ScopeRead, false, "a team's name, sport and seasons"},
	{SeeRoster, []Role{Administrator, Clinician, Trainer}, ScopeRead, true, "athletes with birth date, sex and size; memberships"},
	{SeeRecords, []Role{Clinician, Trainer}, ScopeRead, true, "screens, readings, symptoms, findings, triage, course, charts, handouts"},
	{SeeReadiness, []Role{Clinician, Trainer, Coach}, ScopeRead, true, "the coach's page: may throw, hold or limits, and mechanics focus"},
	{SeeOwn, []Role{Clinician, Trainer, Family}, "", true, "one athlete's handout and targets, by link"},
	{Enter, []Role{Clinician, Trainer, Helper, Station}, ScopeEnter, true, "a station's sheet, and entries sent from it"},
	{Record, []Role{Clinician, Trainer}, ScopeEnter, true, "screens, readings, corrections, symptoms, injuries"},
	{Clear, []Role{Clinician}, "", true, "clearance to throw"},
	{ManageDays, []Role{Clinician, Trainer}, ScopeManage, true, "screening days, their lists, station links and handouts"},
	{ManageRoster, []Role{Administrator, Clinician, Trainer}, ScopeManage, true, "athletes and memberships"},
	{ManageMethod, []Role{Clinician, Trainer}, ScopeManage, true, "own measurement errors, squad figures"},
	{ManageTeam, []Role{Administrator, Clinician, Trainer}, ScopeManage, false, "the team itself and its seasons"},
	{ManageConsent, []Role{Administrator, Clinician, Trainer}, "", true, "consents"},
	{ManageLinks, []Role{Clinician, Trainer}, "", true, "links for athletes and guardians"},
	{ManagePeople, []Role{Administrator}, "", true, "accounts, invitations and roles"},
	{SeeAudit, []Role{Administrator}, "", true, "the audit"},
	{ExportTeam, []Role{Clinician, Trainer}, ScopeRead, true, "a team's records as files"},
	{ExportAthlete, []Role{Administrator, Clinician}, "", true, "everything held about one athlete"},
	{Erase, []Role{Administrator}, "", true, "retention, and erasing an athlete"},
	{Operate, []Role{Administrator}, "", false, "settings, new teams; for every team only"},
	{OwnAccount, []Role{Administrator, Clinician, Trainer, Coach, Helper}, "", false, "one's own password, second factor, passkeys, tokens and sessions"},
}

var ruleOf = func() map[Action]*rule {
	out := make(map[Action]*rule, len(rules))
	for i := range rules {
		out[rules[i].action] = &rules[i]
	}
	return out
}()

// Personal reports whether an action is about persons, so that looking is recorded in the audit.
func (a Action) Personal() bool { return ruleOf[a] != nil && ruleOf[a].personal }

// Words say what an action is about.
func (a Action) Words() string {
	if r := ruleOf[a]; r != nil {
		return r.words
	}
	return string(a)
}

// Actions lists the actions that a role may have, in the order of the table.
func Actions() (out []Action) {
	for i := range rules {
		out = append(out, rules[i].action)
	}
	return out
}
