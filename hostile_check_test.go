package main

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	parser "github.com/emersion/go-ical"
	"golang.org/x/net/html"
)

var (
	markOf     = regexp.MustCompile(`q\d{4}q`)
	safeName   = regexp.MustCompile(`^(attachment|inline); filename="[A-Za-z0-9][A-Za-z0-9._-]*"$`)
	barred     = []string{"iframe", "frame", "object", "embed", "applet", "base", "portal", "foreignobject", "math"}
	urlFields  = []string{"href", "src", "action", "formaction", "poster", "data", "srcset", "ping", "background", "cite", "manifest", "xlink:href"}
	urlSchemes = []string{"", "http", "https", "mailto", "webcal"}
)

// check looks at an answer: nothing that was typed may be anything but text in it.
func (h *hostileWorld) check(what string, w *httptest.ResponseRecorder) {
	h.t.Helper()
	if w.Code >= http.StatusInternalServerError {
		h.t.Errorf("%s: %d %.300s", what, w.Code, w.Body)
	}
	h.checkHeaders(what, w)
	body := w.Body.String()
	if !utf8.ValidString(body) {
		h.t.Errorf("%s: the answer is not UTF-8", what)
	}
	switch kind, _, _ := strings.Cut(w.Header().Get("Content-Type"), ";"); kind {
	case "text/html":
		h.checkHTML(what, body)
	case "application/json", "application/problem+json", "application/openapi+json":
		h.checkJSON(what, body)
	case "text/csv":
		h.checkCSV(what, body)
	case "text/calendar":
		h.checkCalendar(what, body)
	case "text/plain", "text/css", "text/javascript", "image/svg+xml", "application/manifest+json", "application/x-x509-ca-cert", "application/yaml":
		if m := markOf.FindString(body); m != "" {
			h.t.Errorf("%s: %s holds %q", what, kind, h.typed[m].text)
		}
	case "":
		if w.Body.Len() > 0 {
			h.t.Errorf("%s: an answer without a content type: %.100s", what, body)
		}
	default:
		h.t.Errorf("%s: nobody looked at content of the type %q", what, kind)
	}
}

func (h *hostileWorld) checkHeaders(what string, w *httptest.ResponseRecorder) {
	h.t.Helper()
	for name, values := range w.Header() {
		for _, v := range values {
			if strings.ContainsAny(v, "\r\n\x00") || strings.ContainsFunc(v, func(r rune) bool { return r > 0x7e || r < ' ' }) {
				h.t.Errorf("%s: the header %s is %q", what, name, v)
			}
			if name != "Location" && markOf.MatchString(v) {
				h.t.Errorf("%s: the header %s holds what was typed: %q", what, name, v)
			}
		}
	}
	if v := w.Header().Get("Content-Disposition"); v != "" && !safeName.MatchString(v) {
		h.t.Errorf("%s: a file is named by %q", what, v)
	}
	if to := w.Header().Get("Location"); to != "" && (!strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.HasPrefix(to, `/\`)) {
		h.t.Errorf("%s leads to %q", what, to)
	}
	if w.Header().Get("X-Content-Type-Options") != "nosniff" {
		h.t.Errorf("%s: %d without nosniff", what, w.Code)
	}
	if policy := w.Header().Get("Content-Security-Policy"); !strings.HasPrefix(policy, "default-src 'none'") || strings.Contains(policy, "script-src 'unsafe") {
		h.t.Errorf("%s: %d with the policy %q", what, w.Code, policy)
	}
}

// checkHTML parses a page as a browser does.
func (h *hostileWorld) checkHTML(what, body string) {
	h.t.Helper()
	for _, raw := range hostileTexts {
		if strings.ContainsAny(raw, "<") && strings.Contains(body, raw) {
			h.t.Errorf("%s: %q is in the page as it was typed", what, raw)
		}
	}
	doc, err := html.Parse(strings.NewReader(body))
	h.must(err)
	for n := range doc.Descendants() {
		switch n.Type {
		case html.ElementNode:
			h.checkElement(what, n)
		case html.TextNode:
			if n.Parent.Data != "script" { // that is looked at as what it is
				h.shown(what, n.Data)
			}
		case html.CommentNode:
			h.t.Errorf("%s: a comment: %q", what, n.Data)
		}
	}
	h.gather(what, doc)
}

// shown notes the marks in a text that a reader sees.
func (h *hostileWorld) shown(what, text string) {
	for _, m := range markOf.FindAllString(text, -1) {
		h.seen[m] = true
	}
	if markOf.MatchString(text) && (strings.Contains(text, "&lt;") || strings.Contains(text, "&#34;") || strings.Contains(text, "&#39;") || strings.Contains(text, `\u003c`)) {
		h.t.Errorf("%s: escaped twice: %q", what, text)
	}
}

func (h *hostileWorld) checkElement(what string, n *html.Node) {
	h.t.Helper()
	if slices.Contains(barred, n.Data) || markOf.MatchString(n.Data) {
		h.t.Errorf("%s: there is an element %s", what, n.Data)
	}
	if n.Data == "style" || n.Data == "meta" && attribute(n, "http-equiv") != "" {
		h.t.Errorf("%s: %s", what, n.Data)
	}
	if n.Data == "script" {
		h.checkScript(what, n)
	}
	for _, a := range n.Attr {
		name := a.Key
		if a.Namespace != "" {
			name = a.Namespace + ":" + a.Key
		}
		if strings.HasPrefix(name, "on") || name == "srcdoc" || markOf.MatchString(name) || name == "style" && markOf.MatchString(a.Val) {
			h.t.Errorf("%s: %s has the attribute %s=%q", what, n.Data, name, a.Val)
		}
		if slices.Contains(urlFields, name) {
			h.checkURL(what, n.Data, a.Val)
		} else {
			h.shown(what, a.Val)
		}
	}
}

// checkScript: a script is a module of our own, or a block of data.
func (h *hostileWorld) checkScript(what string, n *html.Node) {
	h.t.Helper()
	text := ""
	if n.FirstChild != nil {
		text = n.FirstChild.Data
	}
	switch kind, src := attribute(n, "type"), attribute(n, "src"); {
	case kind == "module" && strings.HasPrefix(src, "/assets/") && text == "":
	case kind == "application/json" && src == "" && json.Valid([]byte(text)) && !strings.ContainsAny(text, "<>&"):
		h.checkJSON(what, text)
	default:
		h.t.Errorf("%s: a script of type %q from %q: %.100q", what, kind, src, text)
	}
}

func (h *hostileWorld) checkURL(what, element, raw string) {
	h.t.Helper()
	u, err := url.Parse(raw)
	typed := markOf.MatchString(raw)
	switch {
	case err != nil:
		h.t.Errorf("%s: %s leads to %q: %v", what, element, raw, err)
	case u.Scheme == "data" && element == "img" && !typed:
	case !slices.Contains(urlSchemes, u.Scheme) || typed && (u.Scheme != "" || u.Host != "") || u.Scheme == "" && u.Host != "":
		h.t.Errorf("%s: %s leads to %q", what, element, raw)
	}
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func (h *hostileWorld) checkJSON(what, body string) {
	h.t.Helper()
	var v any
	if err := json.Unmarshal([]byte(body), &v); err != nil {
		h.t.Errorf("%s: not JSON: %v", what, err)
		return
	}
	leaves(v, "", func(l leaf) any { h.shown(what, l.value); return nil })
	if m, ok := v.(map[string]any); ok && m["option"] != nil {
		h.checkChart(what, m["option"], "")
	}
}

// checkChart: the drawing script makes markup of tooltips unless they are rich text, fills in patterns
// in a formatter, loads what a symbol names, and opens what a link names.
func (h *hostileWorld) checkChart(what string, v any, key string) {
	h.t.Helper()
	switch x := v.(type) {
	case map[string]any:
		for _, k := range sortedOf(x) {
			if k == "tooltip" && key == "" && x[k].(map[string]any)["renderMode"] != "richText" {
				h.t.Errorf("%s: tooltips are markup", what)
			}
			h.checkChart(what, x[k], k)
		}
	case []any:
		for i := range x {
			h.checkChart(what, x[i], key)
		}
	case string:
		typed := markOf.MatchString(x)
		if typed && slices.Contains([]string{"symbol", "link", "sublink", "renderMode", "extraCssText", "image", "html"}, key) ||
			typed && key == "formatter" && strings.ContainsAny(x, "{}") || strings.HasPrefix(x, "image://") {
			h.t.Errorf("%s: %s is %q", what, key, x)
		}
	}
}

// checkCSV: no cell is a formula to a spreadsheet, whichever separator it splits by, and a number stays one.
func (h *hostileWorld) checkCSV(what, body string) {
	h.t.Helper()
	rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
	if err != nil {
		h.t.Errorf("%s: %v", what, err)
		return
	}
	for _, row := range rows {
		for _, cell := range row {
			h.shown(what, cell)
			for _, part := range strings.Split(cell, ";") {
				if _, err := strconv.ParseFloat(part, 64); part != "" && strings.IndexByte("=+-@\t\r", part[0]) >= 0 && err != nil {
					h.t.Errorf("%s: the cell %q is a formula", what, cell)
				}
			}
			if n := strings.TrimPrefix(cell, "'"); n != cell && !markOf.MatchString(cell) {
				if _, err := strconv.ParseFloat(n, 64); err == nil {
					h.t.Errorf("%s: the number %q is text", what, cell)
				}
			}
		}
	}
}

func (h *hostileWorld) checkCalendar(what, body string) {
	h.t.Helper()
	for _, line := range strings.SplitAfter(body, "\r\n") {
		if text := strings.TrimSuffix(line, "\r\n"); len(text) > 75 || strings.ContainsAny(text, "\r\n") {
			h.t.Errorf("%s: the line %q", what, line)
		}
	}
	cal, err := parser.NewDecoder(strings.NewReader(body)).Decode()
	if err != nil {
		h.t.Errorf("%s: %v", what, err)
		return
	}
	for _, e := range cal.Events() {
		for _, name := range []string{"SUMMARY", "DESCRIPTION"} {
			text, err := e.Props.Text(name)
			if err != nil {
				h.t.Errorf("%s: %v", what, err)
			}
			h.shown(what, text)
		}
		if e.Props.Get("ATTENDEE") != nil {
			h.t.Errorf("%s: an entry has a line that was typed", what)
		}
	}
	for name, list := range cal.Props {
		for i := range list {
			if name != "X-WR-CALNAME" && name != "NAME" && markOf.MatchString(list[i].Value) {
				h.t.Errorf("%s: %s is %q", what, name, list[i].Value)
			}
		}
	}
}
