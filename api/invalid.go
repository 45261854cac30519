package api

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/validation"

	"evenhand/internal/screen"
)

// registryKey is where an operation keeps the schemas that its body refers to.
const registryKey = "schemas"

// requestProblem turns what huma finds wrong with a request into our problem document. huma would
// show the client the text of any error, and the whole body beside a fault of one field.
func requestProblem(ctx huma.Context, status int, msg string, errs []error) *Problem {
	if len(errs) == 1 {
		status, errs = lookedCloser(status, errs[0])
	}
	p := &Problem{Status: status}
	switch {
	case status == http.StatusInternalServerError && msg == "cannot read request body":
		p.Status, p.Detail = http.StatusBadRequest, "the body could not be read to its end"
	case status >= http.StatusInternalServerError:
		return internal("")
	case status == http.StatusRequestEntityTooLarge:
		p.Detail, p.Want = "the body is too large", "split it"
		if ctx != nil && ctx.Operation().MaxBodyBytes > 0 {
			p.Want = fmt.Sprintf("at most %d MiB; split it", ctx.Operation().MaxBodyBytes>>20)
		}
	case status == http.StatusUnsupportedMediaType:
		p.Detail, p.Want = "the body is not of a kind that is read here", "Content-Type: "+typeJSON
	case msg == "request body is required":
		p.Errors = []Fault{{Location: "body", Message: "the body is missing", Want: "see /api/docs"}}
	default:
		for _, err := range errs[:min(len(errs), 20*maxFaults)] {
			if d, ok := err.(huma.ErrorDetailer); ok {
				p.Errors = append(p.Errors, fault(ctx, status, d.ErrorDetail()))
			}
		}
		slices.SortStableFunc(p.Errors, func(a, b Fault) int { return naturally(a.Location, b.Location) })
	}
	return p.finish()
}

// fault is one of huma's findings in our words.
func fault(ctx huma.Context, status int, d *huma.ErrorDetail) Fault {
	if body, ok := d.Value.(string); ok && d.Location == "body" && (status == http.StatusBadRequest || !strings.HasPrefix(d.Message, "expected ")) {
		return locateJSON(body)
	}
	f := Fault{Location: d.Location, Message: d.Message, Value: scalar(d.Value)}
	var name, values string
	switch {
	case d.Message == validation.MsgUnexpectedProperty:
		f.Message, f.Value = "unknown field", nil
		f.Want = nearest(ctx, d.Location)
	case d.Message == "unknown query parameter":
		f.Want = "leave it out"
	case strings.HasPrefix(d.Message, "expected required property "):
		name, _, _ = strings.Cut(strings.TrimPrefix(d.Message, "expected required property "), " ")
		f.Location, f.Message, f.Value = d.Location+"."+name, "the field is missing", nil
	case strings.HasPrefix(d.Message, `expected value to be one of "`):
		values = strings.TrimSuffix(strings.TrimPrefix(d.Message, `expected value to be one of "`), `"`)
		f.Message, f.Want = "this is none of the words that stand here", "one of: "+values
	case d.Message == validation.MsgExpectedNumber, d.Message == validation.MsgExpectedString, d.Message == validation.MsgExpectedInteger,
		d.Message == validation.MsgExpectedBoolean, d.Message == validation.MsgExpectedArray, d.Message == validation.MsgExpectedObject:
		f.Want = kinds[d.Message]
		f.Message = kindOf(d.Value) + " stands where " + f.Want + " is due"
	case strings.HasPrefix(d.Message, "expected "):
		f.Message, f.Want = "the value does not fit", strings.TrimPrefix(d.Message, "expected ")
	}
	return f
}

var kinds = map[string]string{
	validation.MsgExpectedNumber: "a number", validation.MsgExpectedString: "text in quotes", validation.MsgExpectedInteger: "a whole number",
	validation.MsgExpectedBoolean: "true or false", validation.MsgExpectedArray: "a list", validation.MsgExpectedObject: "an object",
}

func kindOf(v any) string {
	switch v.(type) {
	case nil:
		return "null"
	case string:
		return "text"
	case bool:
		return "true or false"
	case float64:
		return "a number"
	case []any:
		return "a list"
	}
	return "an object"
}

// scalar is a value as it is shown in a fault: shortened, and nothing for lists and objects.
func scalar(v any) any {
	switch v := v.(type) {
	case string:
		return clip(v)
	case float64, bool:
		return v
	}
	return nil
}

// nearest suggests the field that an unknown one was meant to be.
func nearest(ctx huma.Context, location string) string {
	const otherwise = "leave it out"
	if ctx == nil || ctx.Operation().RequestBody == nil || ctx.Operation().RequestBody.Content[typeJSON] == nil {
		return otherwise
	}
	registry, _ := ctx.Operation().Metadata[registryKey].(huma.Registry)
	s := ctx.Operation().RequestBody.Content[typeJSON].Schema
	parts := strings.Split(location, ".")
	for i := 1; i < len(parts); i++ {
		for s != nil && registry != nil && (s.Ref != "" || s.Items != nil) {
			if s.Ref != "" {
				s = registry.SchemaFromRef(s.Ref)
			} else {
				s = s.Items
			}
		}
		if s == nil {
			return otherwise
		}
		name, _, _ := strings.Cut(parts[i], "[")
		if i == len(parts)-1 {
			names := make([]string, 0, len(s.Properties))
			for k := range s.Properties {
				names = append(names, k)
			}
			slices.Sort(names)
			if near := screen.Nearest(name, names); near != "" {
				return fmt.Sprintf("did you mean %q?", near)
			}
			return "one of: " + strings.Join(names, ", ")
		}
		s = s.Properties[name]
	}
	return otherwise
}

// naturally orders places as a reader does: readings[2] before readings[10].
func naturally(a, b string) int {
	for a != "" && b != "" {
		x, restA := leading(a)
		y, restB := leading(b)
		nx, errX := strconv.Atoi(x)
		ny, errY := strconv.Atoi(y)
		switch {
		case errX == nil && errY == nil && nx != ny:
			return nx - ny
		case x != y:
			return strings.Compare(x, y)
		}
		a, b = restA, restB
	}
	return len(a) - len(b)
}

// leading cuts off the digits, or all that is no digit, at the head of s.
func leading(s string) (head, rest string) {
	digit := func(i int) bool { return s[i] >= '0' && s[i] <= '9' }
	i := 1
	for i < len(s) && digit(i) == digit(0) {
		i++
	}
	return s[:i], s[i:]
}
