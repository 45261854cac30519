package api

import (
	"html"
	"regexp"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

func TestOpenAPIIsValid(t *testing.T) {
	r := newRig(t)
	if !strings.HasPrefix(r.doc.OpenAPI, "3.1") {
		t.Fatalf("version %s", r.doc.OpenAPI)
	}
	if err := r.doc.Validate(t.Context(), openapi3.EnableSchemaFormatValidation(), openapi3.EnableSchemaPatternValidation(), openapi3.EnableSchemaDefaultsValidation()); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for path, item := range r.doc.Paths.Map() {
		for method, op := range item.Operations() {
			if seen[op.OperationID] || op.OperationID == "" || op.Summary == "" || len(op.Tags) != 1 {
				t.Errorf("%s %s: id %q, summary %q, tags %v", method, path, op.OperationID, op.Summary, op.Tags)
			}
			seen[op.OperationID] = true
			for _, p := range op.Parameters {
				if p.Value.Name == "$schema" {
					t.Errorf("%s %s has a $schema", method, path)
				}
			}
		}
	}
	if len(seen) < 35 {
		t.Errorf("only %d operations", len(seen))
	}
}

func TestOpenAPIAsYAML(t *testing.T) {
	r := newRig(t)
	a := r.do("GET", "/api/openapi.yaml", "").is(200)
	doc, err := openapi3.NewLoader().LoadFromData(a.body)
	if err != nil {
		t.Fatal(err)
	}
	if doc.Paths.Len() != r.doc.Paths.Len() {
		t.Errorf("%d paths in YAML, %d in JSON", doc.Paths.Len(), r.doc.Paths.Len())
	}
}

// The page must work offline and under a policy that lets no script and no style of its own run.
func TestDocsPage(t *testing.T) {
	r := newRig(t)
	a := r.do("GET", "/api/docs", "").is(200)
	page := string(a.body)
	if !strings.HasPrefix(a.header.Get("Content-Type"), "text/html") || !strings.Contains(a.header.Get("Content-Security-Policy"), "default-src 'none'; style-src 'self'") {
		t.Errorf("headers %v", a.header)
	}
	for _, bad := range []string{"<script", "http://", "https://", "//cdn", "style=", "<style", "onclick", "ZgotmplZ"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	for path, item := range r.doc.Paths.Map() {
		if !strings.Contains(strings.ReplaceAll(page, "<wbr>", ""), path) {
			t.Errorf("the page does not show %s", path)
		}
		for _, op := range item.Operations() {
			if !strings.Contains(html.UnescapeString(page), op.Summary) {
				t.Errorf("the page does not say %q", op.Summary)
			}
		}
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		if ids[m[1]] {
			t.Errorf("the id %s stands twice", m[1])
		}
		ids[m[1]] = true
	}
	for _, m := range regexp.MustCompile(`href="#([^"]+)"`).FindAllStringSubmatch(page, -1) {
		if !ids[m[1]] {
			t.Errorf("a link leads to #%s, which is not there", m[1])
		}
	}
	for _, word := range []string{"made by whoever enters the reading", "readings[3].trials[1]", "One of: left, right, none."} {
		if !strings.Contains(page, word) {
			t.Errorf("the page does not say %q", word)
		}
	}
}
