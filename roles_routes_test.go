package main

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"go.yaml.in/yaml/v3"

	"evenhand/internal/access"
)

// rule is a row of testdata/routes.yaml: what a route does, and a request to it that is right.
type rule struct {
	Route     string            `yaml:"route"`
	Action    string            `yaml:"action"`    // of internal/access, or public, or anyone
	Also      []string          `yaml:"also"`      // further actions that it takes
	Programme bool              `yaml:"programme"` // about all teams together
	Link      string            `yaml:"link"`      // station or family: the address itself lets in
	Wrong     map[string]string `yaml:"wrong"`     // of a link: names under which it does not let in
	Path      map[string]string `yaml:"path"`      // parameters of the address; else the names of those
	Query     string            `yaml:"query"`
	JSON      string            `yaml:"json"`
	Form      fields            `yaml:"form"`
	Body      string            `yaml:"body"` // of the type in headers
	Headers   map[string]string `yaml:"headers"`
	OK        []int             `yaml:"ok"`      // if success is not below 400
	Why       string            `yaml:"why"`     // why not, or whatever else is odd
	Led       map[string]string `yaml:"led"`     // roles that are sent elsewhere instead of being refused
	Refused   int               `yaml:"refused"` // status of a refusal, if it is another one than those of roles
	Made      []string          `yaml:"made"`    // parameters of the address that are ids of the sender's own making
	Others    []otherBody       `yaml:"bodies_other"`
}

// otherBody is a request to own paths in which ids of the other team stand. What it leaves out is as in
// its row.
type otherBody struct {
	What    string            `yaml:"what"`
	Path    map[string]string `yaml:"path"`
	Query   string            `yaml:"query"`
	JSON    string            `yaml:"json"`
	Form    fields            `yaml:"form"`
	Headers map[string]string `yaml:"headers"`
	Taken   bool              `yaml:"taken"` // an id of the sender's own making, which is taken: that cannot be told as if it were free
	Kept    bool              `yaml:"kept"`  // what was sent is kept as a text of own's, such as a number in another record

	none bool // stands for no team's instead
}

// fields are those of a form, each with one value or several.
type fields map[string][]string

// UnmarshalYAML takes values as they are written: a day is no time, and 000000 no number.
func (f *fields) UnmarshalYAML(n *yaml.Node) error {
	*f = fields{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i].Value, n.Content[i+1]
		list := []*yaml.Node{value}
		if value.Kind == yaml.SequenceNode {
			list = value.Content
		}
		for _, x := range list {
			(*f)[key] = append((*f)[key], x.Value)
		}
	}
	return nil
}

// ruleBook is the whole file. Params are what stands for parameters that name nobody's record.
type ruleBook struct {
	Params map[string]string `yaml:"params"`
	Rules  []rule            `yaml:"routes"`
}

var theRules = sync.OnceValues(func() (*ruleBook, error) {
	f, err := os.Open("testdata/routes.yaml")
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }()
	var out ruleBook
	d := yaml.NewDecoder(f)
	d.KnownFields(true)
	return &out, d.Decode(&out)
})

func ruleBookOf(t testing.TB) *ruleBook {
	t.Helper()
	out, err := theRules()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// rulesToSend are the rows whose requests are sent: under the race detector, which makes each take ten
// times as long and finds nothing in requests that come one after another, every ninth.
func rulesToSend(t testing.TB) (out []*rule) {
	t.Helper()
	list := ruleBookOf(t).Rules
	for i := range list {
		if !racing || i%9 == 0 {
			out = append(out, &list[i])
		}
	}
	return out
}

func (r *rule) method() string { m, _, _ := strings.Cut(r.Route, " "); return m }
func (r *rule) path() string   { _, p, _ := strings.Cut(r.Route, " "); return p }
func (r *rule) api() bool      { return strings.HasPrefix(r.path(), "/api/") }
func (r *rule) reads() bool    { return r.method() == http.MethodGet }

// role is somebody who sends requests: by an account's session, a token, or nothing.
type role struct {
	name    string
	account string // key of a session
	token   string // a scope
	person  access.Person
}

// nobodyAtAll has neither a session nor a token.
var nobodyAtAll = role{name: "nobody"}

// rolesOf are everybody whom the tests send.
func (s *site) rolesOf() []role {
	out := []role{{name: "administrator of the programme", account: "chief", person: s.persons["chief"]}}
	for _, r := range access.Roles {
		out = append(out, s.role(r))
	}
	for _, scope := range access.Scopes {
		p := s.persons["own trainer"]
		p.Session, p.Token, p.Scopes = "", "token", []access.Scope{scope}
		out = append(out, role{name: "token to " + string(scope), account: "own trainer", token: string(scope), person: p})
	}
	return append(out, nobodyAtAll)
}

// role is that of the team own.
func (s *site) role(r access.Role) role {
	return role{name: string(r), account: "own " + string(r), person: s.persons["own "+string(r)]}
}

// actions are those that the route takes; none for public and anyone.
func (r *rule) actions() (out []access.Action) {
	for _, x := range append([]string{r.Action}, r.Also...) {
		if x != "public" && x != "anyone" {
			out = append(out, access.Action(x))
		}
	}
	return out
}

// may reports whether the rules of access let somebody in.
func (r *rule) may(who *role) bool {
	switch r.Action {
	case "public":
		return true
	case "anyone":
		return !who.person.Anonymous()
	case string(access.OwnAccount):
		return !who.person.Anonymous() && who.token == ""
	}
	about := access.Subject{Teams: []string{"own-team"}, Every: r.Programme}
	for _, a := range r.actions() {
		if !who.person.May(a, &about) {
			return false
		}
	}
	return true
}

var (
	nameInBraces = regexp.MustCompile(`\{[a-zA-Z][a-zA-Z0-9.]*\}`)
	routeParam   = regexp.MustCompile(`[:*][a-z_]+`)
)

// names replaces names in braces. Those that begin with my are of whoever acts.
func (s *site) expand(t testing.TB, text string, who *role, swap func(string) string) string {
	return nameInBraces.ReplaceAllStringFunc(text, func(x string) string {
		name := strings.Trim(x, "{}")
		if name == "new" {
			return fmt.Sprintf("new-%07d", rolesIDs.Add(1))
		}
		name = swap(name)
		if mine, ok := strings.CutPrefix(name, "my."); ok {
			if name = mine; who.account != "" {
				name = who.account + " " + mine
			}
		}
		out, ok := s.names[name]
		if !ok {
			t.Fatalf("testdata/routes.yaml: nothing has the name %q", name)
		}
		return out
	})
}

// params are the parameters of a route with what stands for each.
func (r *rule) params(book *ruleBook, over map[string]string) map[string]string {
	out := map[string]string{}
	for _, p := range routeParam.FindAllString(r.path(), -1) {
		name := p[1:]
		out[name] = "{" + name + "}"
		if x, ok := book.Params[name]; ok {
			out[name] = x
		}
		if x, ok := r.Path[name]; ok {
			out[name] = x
		}
		if x, ok := over[name]; ok {
			out[name] = x
		}
	}
	return out
}

// request is the row's request as somebody sends it. swap changes names, such as "athlete" to
// "other.athlete"; only those in the address and in the query are given to it.
func (s *site) request(t testing.TB, r *rule, who *role, over *otherBody, swap func(string) string) *sent {
	t.Helper()
	if over == nil {
		over = &otherBody{}
	}
	inBody := func(name string) string { return name }
	if over.none {
		inBody = func(name string) string { return strings.Replace(name, "other.", "none.", 1) }
	}
	if swap == nil {
		swap = inBody
	}
	params := r.params(ruleBookOf(t), over.Path)
	target := routeParam.ReplaceAllStringFunc(r.path(), func(p string) string {
		return url.PathEscape(s.expand(t, params[p[1:]], who, swap))
	})
	if q := firstOf(over.Query, r.Query); q != "" {
		target += "?" + s.expand(t, q, who, swap)
	}
	out := &sent{method: r.method(), target: target, headers: map[string]string{}}
	form := r.Form
	switch {
	case over.Form != nil || over.JSON == "" && form != nil:
		if over.Form != nil {
			form = over.Form
		}
		out.body = s.form(t, form, who, inBody)
		out.headers["Content-Type"] = "application/x-www-form-urlencoded"
	case over.JSON != "" || r.JSON != "":
		out.body = s.expand(t, firstOf(over.JSON, r.JSON), who, inBody)
		out.headers["Content-Type"] = "application/json"
	case r.Body != "":
		out.body = s.expand(t, r.Body, who, inBody)
	}
	headers := r.Headers
	if over.Headers != nil {
		headers = over.Headers
	}
	for k, v := range headers {
		out.headers[k] = s.expand(t, v, who, inBody)
	}
	return out
}

func (s *site) form(t testing.TB, f fields, who *role, swap func(string) string) string {
	out := url.Values{}
	for k, list := range f {
		for _, x := range list {
			out.Add(k, s.expand(t, x, who, swap))
		}
	}
	return out.Encode()
}

func firstOf(list ...string) string {
	for _, x := range list {
		if x != "" {
			return x
		}
	}
	return ""
}

// TestEveryRouteHasARule holds the router against testdata/routes.yaml: a route without a row, a row
// without a route, and a row that names no action fail.
func TestEveryRouteHasARule(t *testing.T) {
	p, book := sharedSite(t).open(t, rolesNoon), ruleBookOf(t)
	routes := map[string]bool{}
	for _, r := range p.engine.Routes() {
		routes[r.Method+" "+r.Path] = true
	}
	seen := map[string]bool{}
	for i := range book.Rules {
		r := &book.Rules[i]
		if !routes[r.Route] {
			t.Errorf("%s has a row and is no route", r.Route)
		}
		if seen[r.Route] {
			t.Errorf("%s has two rows", r.Route)
		}
		seen[r.Route] = true
		for _, a := range r.actions() {
			if !slices.Contains(access.Actions(), a) {
				t.Errorf("%s: %q is no action of internal/access", r.Route, a)
			}
		}
		if len(r.OK) > 0 && r.Why == "" {
			t.Errorf("%s: the row does not say why success is not below 400", r.Route)
		}
	}
	for x := range routes {
		if page, head := strings.CutPrefix(x, "HEAD "); head && routes["GET "+page] {
			continue // as its GET
		}
		if !seen[x] {
			t.Errorf("%s has no row in testdata/routes.yaml: say there who may do it", x)
		}
	}
	if len(routes) < 150 {
		t.Errorf("only %d routes were looked at", len(routes))
	}
}
