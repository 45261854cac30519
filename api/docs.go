package api

import (
	"bytes"
	"cmp"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"
)

// docs serves the OpenAPI document, and a page that shows it without any script. They are made when they
// are first asked for.
func (s *server) docs(group *gin.RouterGroup) {
	doc := s.api.OpenAPI()
	serve := func(path, contentType string, made func() ([]byte, error)) {
		data := sync.OnceValue(func() []byte { return must(made()) })
		group.GET(path, func(c *gin.Context) { c.Data(http.StatusOK, contentType, data()) })
	}
	serve("/api/openapi.json", typeJSON, func() ([]byte, error) { return json.MarshalIndent(doc, "", " ") })
	serve("/api/openapi.yaml", "application/yaml", doc.YAML)
	serve("/api/docs", "text/html; charset=utf-8", func() ([]byte, error) { return docsPage(doc) })
}

// must is for what can only fail by a fault of the program, seen by its tests.
func must[T any](v T, err error) T {
	if err != nil {
		panic(fmt.Errorf("api: documentation: %w", err))
	}
	return v
}

//go:embed docs.html
var docsText string

var docsTemplate = template.Must(template.New("docs").Parse(docsText))

type docsView struct {
	Title, Version string
	Paragraphs     []string
	Groups         []docsGroup
	Schemas        []docsSchema
}

type docsGroup struct {
	Name, Text string
	Operations []docsOperation
}

type docsOperation struct {
	ID, Method, Path, Summary, Text string
	Parameters                      []docsField
	Bodies                          []docsBody
	Responses                       []docsResponse
}

type docsBody struct {
	Media  string
	Type   docsType
	Text   string
	Fields []docsField
}

type docsResponse struct {
	Status, Text string
	Bodies       []docsBody
}

// docsField is a parameter or a field.
type docsField struct {
	Name, In, Text string
	Type           docsType
	Required       bool
}

// docsType is a type in words, with the schema that it refers to.
type docsType struct{ Before, Ref, After string }

type docsSchema struct {
	Name   string
	Text   string
	Fields []docsField
}

func docsPage(doc *huma.OpenAPI) ([]byte, error) {
	v := docsView{Title: doc.Info.Title, Version: doc.Info.Version, Paragraphs: strings.Split(doc.Info.Description, "\n\n")}
	for _, tag := range doc.Tags {
		v.Groups = append(v.Groups, docsGroup{tag.Name, tag.Description, operationsOf(doc, tag.Name)})
	}
	schemas := doc.Components.Schemas.Map()
	for name, s := range schemas {
		v.Schemas = append(v.Schemas, docsSchema{name, s.Description, fieldsOf(s)})
	}
	slices.SortFunc(v.Schemas, func(a, b docsSchema) int { return cmp.Compare(a.Name, b.Name) })
	var out bytes.Buffer
	if err := docsTemplate.Execute(&out, v); err != nil {
		return nil, fmt.Errorf("render: %w", err)
	}
	return out.Bytes(), nil
}

// operationsOf is the operations of a group by path, reads before writes.
func operationsOf(doc *huma.OpenAPI, tag string) []docsOperation {
	var out []docsOperation
	for path, item := range doc.Paths {
		for i, op := range []*huma.Operation{item.Get, item.Post, item.Put} {
			if op != nil && slices.Contains(op.Tags, tag) {
				out = append(out, operationView([]string{"GET", "POST", "PUT"}[i], path, op, doc.Components.Schemas))
			}
		}
	}
	slices.SortFunc(out, func(a, b docsOperation) int {
		return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.Method, b.Method))
	})
	return out
}

func operationView(method, path string, op *huma.Operation, registry huma.Registry) docsOperation {
	out := docsOperation{ID: op.OperationID, Method: method, Path: path, Summary: op.Summary, Text: op.Description}
	for _, p := range op.Parameters {
		out.Parameters = append(out.Parameters, docsField{p.Name, p.In, paramText(p), typeOf(p.Schema), p.Required})
	}
	if op.RequestBody != nil {
		out.Bodies = bodiesOf(op.RequestBody.Content, registry, true)
	}
	for status, r := range op.Responses {
		out.Responses = append(out.Responses, docsResponse{status, r.Description, bodiesOf(r.Content, registry, false)})
	}
	slices.SortFunc(out.Responses, func(a, b docsResponse) int { return cmp.Compare(a.Status, b.Status) })
	return out
}

func paramText(p *huma.Param) string {
	return fullText(cmp.Or(p.Description, p.Schema.Description), p.Schema)
}

// fullText is a description with what the schema asks besides.
func fullText(text string, s *huma.Schema) string {
	limits := limitsOf(s)
	if text != "" && limits != "" {
		text += "."
	}
	return strings.TrimSpace(text + limits)
}

// limitsOf says in words what a schema asks of a value besides its type.
func limitsOf(s *huma.Schema) string {
	out := ""
	if len(s.Enum) > 0 {
		words := make([]string, len(s.Enum))
		for i, e := range s.Enum {
			words[i] = fmt.Sprint(e)
		}
		out += " One of: " + strings.Join(words, ", ") + "."
	}
	if s.Minimum != nil && s.Maximum != nil {
		out += fmt.Sprintf(" From %g to %g.", *s.Minimum, *s.Maximum)
	}
	if s.Default != nil {
		out += fmt.Sprintf(" Without it: %v.", s.Default)
	}
	return out
}

// bodiesOf is the bodies by media type; fields says that those of the body itself are listed, too.
func bodiesOf(content map[string]*huma.MediaType, registry huma.Registry, fields bool) []docsBody {
	out := make([]docsBody, 0, len(content))
	for media, m := range content {
		b := docsBody{Media: media, Type: typeOf(m.Schema), Text: m.Schema.Description}
		if s := m.Schema; fields {
			if s.Ref != "" {
				s = registry.SchemaFromRef(s.Ref)
			}
			b.Fields = fieldsOf(s)
		}
		out = append(out, b)
	}
	slices.SortFunc(out, func(a, b docsBody) int { return cmp.Compare(a.Media, b.Media) })
	return out
}

// fieldsOf is the fields of an object, the required ones first.
func fieldsOf(s *huma.Schema) []docsField {
	out := make([]docsField, 0, len(s.Properties))
	for name, f := range s.Properties {
		out = append(out, docsField{Name: name, Type: typeOf(f), Text: fullText(f.Description, f), Required: slices.Contains(s.Required, name)})
	}
	slices.SortFunc(out, func(a, b docsField) int {
		if a.Required != b.Required {
			if a.Required {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.Name, b.Name)
	})
	return out
}

// typeOf is a schema's type in words.
func typeOf(s *huma.Schema) docsType {
	switch {
	case s == nil:
		return docsType{Before: "anything"}
	case len(s.AnyOf) > 0: // only made by allowNull
		t := typeOf(s.AnyOf[0])
		t.After = " or null"
		return t
	case s.Ref != "":
		return docsType{Ref: s.Ref[strings.LastIndexByte(s.Ref, '/')+1:]}
	case s.Type == huma.TypeArray:
		t := typeOf(s.Items)
		t.Before = "list of " + t.Before
		return t
	case s.Format == "date-time":
		return docsType{Before: "time"}
	case s.Type == huma.TypeObject:
		if of, ok := s.AdditionalProperties.(*huma.Schema); ok {
			t := typeOf(of)
			t.Before = "map from text to " + t.Before
			return t
		}
	}
	words := map[string]string{huma.TypeString: "text", huma.TypeInteger: "whole number", huma.TypeNumber: "number",
		huma.TypeBoolean: "true or false", huma.TypeObject: "object"}
	t := docsType{Before: cmp.Or(words[s.Type], "anything")}
	if s.Nullable {
		t.After = " or null"
	}
	return t
}

// PathParts is the path in the parts between which a narrow screen may break it.
func (o docsOperation) PathParts() []string { return strings.SplitAfter(o.Path, "/") }
