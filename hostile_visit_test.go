package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"

	"golang.org/x/net/html"
)

// hostileForm is a form of a page, with what its fields hold.
type hostileForm struct {
	page, action, encoding string
	fields                 []hostileField
}

// hostileField is a field of a form. free says that anything can be typed into it.
type hostileField struct {
	name, kind, value string
	free              bool
}

// gather keeps the forms and the links of a page.
func (h *hostileWorld) gather(what string, doc *html.Node) {
	_, page, _ := strings.Cut(what, " ")
	base, err := url.Parse(page)
	if err != nil {
		return
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		switch {
		case n.Data == "form" && strings.EqualFold(attribute(n, "method"), "post"):
			f := hostileForm{page: page, action: resolved(base, attribute(n, "action")), encoding: attribute(n, "enctype"), fields: fieldsOf(n)}
			if route := h.routeOf(http.MethodPost, f.action); route != "" && len(f.fields) >= len(h.forms[route].fields) {
				h.forms[route] = f
			}
		case n.Data == "a" && strings.Contains(attribute(n, "href"), "?"):
			to := resolved(base, attribute(n, "href"))
			if u, err := url.Parse(to); err == nil && strings.HasPrefix(to, "/") {
				key := h.routeOf(http.MethodGet, to)
				for _, k := range sortedKeysOf(u.Query()) {
					key += " " + k
				}
				h.links[key] = to
			}
		}
	}
}

func resolved(base *url.URL, to string) string {
	u, err := base.Parse(to)
	if err != nil {
		return ""
	}
	u.Fragment = ""
	return u.String()
}

func sortedKeysOf(q url.Values) (out []string) {
	for k := range q {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// fieldsOf are the fields of a form with what a browser would send of them.
func fieldsOf(form *html.Node) (out []hostileField) {
	for n := range form.Descendants() {
		if n.Type != html.ElementNode || attribute(n, "name") == "" {
			continue
		}
		f := hostileField{name: attribute(n, "name"), kind: attribute(n, "type"), value: attribute(n, "value")}
		switch n.Data {
		case "textarea":
			f.kind, f.free = "textarea", true
			if n.FirstChild != nil {
				f.value = n.FirstChild.Data
			}
		case "input":
			f.free = slices.Contains([]string{"", "text", "search", "email", "tel", "url", "number", "date"}, f.kind)
			if (f.kind == "radio" || f.kind == "checkbox") && !has(n, "checked") {
				continue
			}
		case "select":
			f.kind = "select"
			for o := range n.Descendants() {
				if o.Data == "option" && (f.value == "" || has(o, "selected")) {
					f.value = attribute(o, "value")
				}
			}
		case "button":
			if slices.ContainsFunc(out, func(x hostileField) bool { return x.kind == "submit" }) {
				continue // the first one is pressed
			}
			f.kind = "submit"
		default:
			continue
		}
		out = append(out, f)
	}
	return out
}

func has(n *html.Node, name string) bool {
	return slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == name })
}

// routeOf is the route that an address leads to, the one with the fewest parameters.
func (h *hostileWorld) routeOf(method, address string) string {
	path, _, _ := strings.Cut(address, "?")
	parts, best, least := strings.Split(path, "/"), "", 99
	for _, r := range h.router.Routes() {
		want := strings.Split(r.Path, "/")
		if r.Method != method || len(want) != len(parts) {
			continue
		}
		n := 0
		for i := range want {
			if strings.HasPrefix(want[i], ":") || strings.HasPrefix(want[i], "*") {
				n++
			} else if want[i] != parts[i] {
				n = 99
			}
		}
		if n < least {
			best, least = r.Path, n
		}
	}
	return best
}

// addresses are those of a route in a round.
func (h *hostileWorld) addresses(route string, round int) []string {
	h.t.Helper()
	out := []string{""}
	for _, part := range strings.Split(strings.TrimPrefix(route, "/"), "/") {
		choices := []string{part}
		if strings.HasPrefix(part, ":") || strings.HasPrefix(part, "*") {
			choices = h.list.Params[part[1:]]
			if len(choices) == 0 {
				h.t.Fatalf("%s: testdata/hostile.yaml does not say what stands for %s", route, part)
			}
		}
		var next []string
		for _, start := range out {
			for _, c := range choices {
				next = append(next, start+"/"+h.inRound(c, round))
			}
		}
		out = next
	}
	imported := ""
	if strings.Contains(route, ":athlete") || strings.Contains(route, ":screen") {
		imported = h.imported(round)
	}
	if strings.Contains(route, ":screen") {
		imported = h.firstOf("/api/v1/athletes/" + imported + "/screens")
	}
	for i := range out {
		out[i] = strings.NewReplacer("ACCOUNT", h.who().ID, "SECRET", h.secrets[route], "IMPORTED", imported).Replace(out[i])
		for _, q := range h.list.Queries[route] {
			out = append(out, out[i]+h.inRound(q, round))
		}
	}
	return out
}

// imported is the athlete whom the import of a round added, under an id that was made here.
func (h *hostileWorld) imported(round int) string {
	h.t.Helper()
	if h.foreign[round] == "" {
		h.foreign[round] = h.firstOf(h.inRound("/api/v1/athletes?team=t$n", round))
	}
	return h.foreign[round]
}

// firstOf is the first UUID in a list of the API.
func (h *hostileWorld) firstOf(list string) string {
	h.t.Helper()
	var body struct{ Items []struct{ ID string } }
	h.must(json.Unmarshal(h.get(list).Body.Bytes(), &body))
	for _, x := range body.Items {
		if len(x.ID) == 36 {
			return x.ID
		}
	}
	h.t.Fatalf("%s lists nothing that was imported", list)
	return ""
}

// visit gets every address of the program that can be read, in the rounds from the one given on.
func (h *hostileWorld) visit(from int) {
	h.t.Helper()
	for _, r := range h.router.Routes() {
		if r.Method != http.MethodGet || slices.Contains(h.list.Streams, r.Path) {
			continue
		}
		good := false
		for round := from; round < rounds; round++ {
			for _, address := range h.addresses(r.Path, round) {
				w := h.get(address)
				good = good || w.Code < http.StatusBadRequest
			}
			if !strings.ContainsAny(r.Path, ":") {
				break
			}
		}
		if _, absent := h.list.Absent[r.Path]; from == 0 && good == absent {
			h.t.Errorf("%s could be read: %v", r.Path, good)
		}
	}
	done := map[string]bool{}
	for len(done) < len(h.links) {
		for key, to := range h.links {
			if !done[key] {
				done[key] = true
				h.get(to)
			}
		}
	}
}

// knock asks for every address without being signed in, and in vain.
func (h *hostileWorld) knock() {
	h.t.Helper()
	var all []string
	for _, r := range h.router.Routes() {
		if r.Method == http.MethodGet && !slices.Contains(h.list.Streams, r.Path) {
			all = append(all, h.addresses(r.Path, 0)...)
		}
	}
	cookie := h.cookie
	h.cookie = ""
	for _, address := range all {
		h.get(address)
	}
	for _, bad := range hostileTexts {
		h.get("/sign-in?next=" + url.QueryEscape(bad))
	}
	h.cookie = cookie
}

// misaddress asks for every address with hostile text in the place of each of its parts and parameters.
func (h *hostileWorld) misaddress() {
	h.t.Helper()
	for _, r := range h.router.Routes() {
		if r.Method != http.MethodGet || !strings.ContainsAny(r.Path, ":*") || slices.Contains(h.list.Streams, r.Path) {
			continue
		}
		parts := strings.Split(h.addresses(r.Path, 0)[0], "/")
		for i, part := range strings.Split(r.Path, "/") {
			if !strings.HasPrefix(part, ":") && !strings.HasPrefix(part, "*") {
				continue
			}
			for _, bad := range []string{`"><img src=x onerror=alert(1)>`, "..%2f..%2fetc%2fpasswd", "%0d%0aSet-Cookie:x=y", "a%00b"} {
				if !strings.Contains(bad, "%") {
					bad = url.PathEscape(bad)
				}
				h.get(strings.Join(slices.Concat(parts[:i], []string{bad}, parts[i+1:]), "/"))
			}
		}
	}
	for _, to := range h.links {
		u, err := url.Parse(to)
		h.must(err)
		for k := range u.Query() {
			for _, bad := range hostileTexts {
				q := u.Query()
				q.Set(k, bad)
				h.get(u.EscapedPath() + "?" + q.Encode())
			}
		}
	}
}

// submit sends a form with some fields as given, and signs in again if that ended the session.
func (h *hostileWorld) submit(f *hostileForm, as map[string]string) *httptest.ResponseRecorder {
	h.t.Helper()
	form := url.Values{}
	for _, x := range f.fields {
		v, given := as[x.name]
		switch {
		case given:
		case x.kind == "password":
			v = hostilePassword
		case x.free && x.value == "":
			v = "plain"
		default:
			v = x.value
		}
		form.Add(x.name, v)
	}
	w := h.send(http.MethodPost, f.action, "application/x-www-form-urlencoded", []byte(form.Encode()))
	if who := h.who(); who.Anonymous() {
		h.signIn()
	}
	return w
}

// mostFields is how many fields of a form are tried one by one: a visit has one for each side of each
// measure, and all are alike.
var mostFields = map[bool]int{false: 16, true: 2}[racing]

// submitAll sends every form that was met with hostile text: in all its fields at once, then in one
// after the other, so that some of it is taken.
func (h *hostileWorld) submitAll() {
	h.t.Helper()
	done := map[string]bool{}
	for len(done) < len(h.forms) {
		for _, route := range sortedForms(h.forms) {
			if f := h.forms[route]; !done[route] {
				done[route] = true
				h.submitOne(route, &f)
			}
		}
	}
}

func sortedForms(m map[string]hostileForm) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func (h *hostileWorld) submitOne(route string, f *hostileForm) {
	h.t.Helper()
	all := map[string]string{}
	for i, x := range f.fields {
		if x.free || x.kind == "hidden" || x.kind == "select" {
			all[x.name] = h.text(route+" "+x.name, i, 0)
		}
	}
	h.submit(f, all)
	tried := 0
	for _, x := range f.fields {
		if !x.free || tried == mostFields {
			continue
		}
		tried++
		for round, kind := range []int{0, 4, 5, 9} {
			h.submit(f, map[string]string{x.name: h.text(route+" "+x.name, kind+len(hostileTexts)-round, round)})
		}
		for _, bad := range []string{"a\x00b", "a\x1b[31mb", "a\u009b31mb", "a\u202eb", "a\xffb", strings.Repeat("long ", 4000) + "x"} {
			h.submit(f, map[string]string{x.name: bad})
		}
	}
}
