package exchange

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"sort"
	"strconv"
	"strings"

	"evenhand/internal/screen"
)

// maxDepth is how deep lists and objects may lie within each other. The form itself needs six.
const maxDepth = 32

// walker reads JSON token by token beside the form that is expected and knows the path of each
// value. The decoder's own strictness stops at the first fault and gives no path.
type walker struct {
	dec    *json.Decoder
	data   []byte
	faults *collector
	broken bool // from here on the text cannot be read
}

func newWalker(data []byte, faults *collector) *walker {
	w := &walker{dec: json.NewDecoder(bytes.NewReader(data)), data: data, faults: faults}
	w.dec.UseNumber()
	return w
}

// fields says how the fields of an object are read, by name.
type fields[T any] map[string]func(w *walker, into *T, path string)

// object reads an object field by field. It reports false if anything in it was at fault.
func object[T any](w *walker, path string, known fields[T], into *T) bool {
	before := w.faults.total
	if !w.open(path, '{', "an object") {
		return false
	}
	var seen []string
	for !w.broken && w.dec.More() {
		t, ok := w.token(path)
		if !ok {
			break
		}
		key, _ := t.(string) // the decoder lets nothing else stand there
		at := joinPath(path, clip(key, 60))
		read := known[key]
		switch {
		case read == nil:
			w.unknown(at, key, known.names)
			w.skip(at)
		case slices.Contains(seen, key):
			w.faults.add(screen.Fault{Where: at, Problem: fmt.Sprintf("the field %q stands twice", key), Want: "each field once"})
			w.skip(at)
		default:
			seen = append(seen, key)
			read(w, into, at)
		}
	}
	w.token(path) // the closing brace
	if len(seen) == 0 && path != "" && !w.broken && w.faults.total == before {
		w.faults.add(screen.Fault{Where: path, Problem: "the object is empty", Want: "the fields " + strings.Join(known.names(), ", ")})
	}
	return !w.broken && w.faults.total == before
}

func (f fields[T]) names() []string {
	out := make([]string, 0, len(f))
	for k := range f {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

func (w *walker) unknown(at, key string, names func() []string) {
	want := ""
	if !w.faults.full() { // the nearest name costs time
		want = nearWords(key, names())
	}
	w.faults.add(screen.Fault{Where: at, Problem: fmt.Sprintf("unknown field %q", clip(key, 60)), Want: want})
}

// list reads a list; each is called before every element with its path and must read it.
func (w *walker) list(path string, each func(path string)) {
	if !w.open(path, '[', "a list") {
		return
	}
	for i := 0; !w.broken && w.dec.More(); i++ {
		each(path + "[" + strconv.Itoa(i) + "]")
	}
	w.token(path) // the closing bracket
}

// text reads a string.
func (w *walker) text(path string) string {
	t, ok := w.token(path)
	if !ok {
		return ""
	}
	s, ok := t.(string)
	if !ok {
		w.wrong(path, t, "text in quotes")
	}
	return s
}

// keep reports whether an element is kept: not if it is at fault and enough was told, so that a file
// of nothing but faults does not fill the memory.
func (w *walker) keep(ok bool) bool { return ok || !w.faults.full() }

// texts reads a list of strings.
func (w *walker) texts(path string) (out []string) {
	w.list(path, func(at string) { out = append(out, w.text(at)) })
	return out
}

// number reads a finite number.
func (w *walker) number(path string) float64 {
	t, ok := w.token(path)
	if !ok {
		return 0
	}
	n, ok := t.(json.Number)
	if !ok {
		w.wrong(path, t, "a number")
		return 0
	}
	x, err := n.Float64()
	if err != nil {
		w.faults.add(screen.Fault{Where: path, Problem: clip(n.String(), 40) + " is not a finite number",
			Want: "a number", Value: clip(n.String(), 40)})
		return 0
	}
	return x
}

// boolean reads true or false.
func (w *walker) boolean(path string) *bool {
	t, ok := w.token(path)
	if !ok {
		return nil
	}
	b, ok := t.(bool)
	if !ok {
		w.wrong(path, t, "true or false")
		return nil
	}
	return &b
}

// open reads the first sign of a list or an object.
func (w *walker) open(path string, sign json.Delim, due string) bool {
	t, ok := w.token(path)
	if !ok {
		return false
	}
	if t != sign {
		w.wrong(path, t, due)
		return false
	}
	return true
}

// wrong says that a value of another type was due, and passes over the rest of the value.
func (w *walker) wrong(path string, t json.Token, due string) {
	f := screen.Fault{Where: path, Want: due}
	switch t := t.(type) {
	case nil:
		f.Problem, f.Value = "null stands where "+due+" is due", "null"
		f.Want += ", or leave the field out"
	case string:
		f.Value = strconv.Quote(clip(t, 40))
		f.Problem = f.Value + " is text where " + due + " is due"
		if _, err := strconv.ParseFloat(t, 64); err == nil && due == "a number" {
			f.Want = "the number without quotes"
		}
	case json.Delim:
		f.Problem = map[json.Delim]string{'{': "an object", '[': "a list"}[t] + " stands where " + due + " is due"
	default:
		f.Value = clip(fmt.Sprint(t), 40)
		f.Problem = f.Value + " stands where " + due + " is due"
	}
	w.faults.add(f)
	if d, ok := t.(json.Delim); ok && (d == '{' || d == '[') {
		w.finish(path)
	}
}

// skip passes over a value of any type.
func (w *walker) skip(path string) {
	t, ok := w.token(path)
	if d, isDelim := t.(json.Delim); ok && isDelim && (d == '{' || d == '[') {
		w.finish(path)
	}
}

// finish passes over the rest of a list or object that was opened.
func (w *walker) finish(path string) {
	for depth := 1; depth > 0; {
		t, ok := w.token(path)
		if !ok {
			return
		}
		switch t {
		case json.Delim('{'), json.Delim('['):
			depth++
		case json.Delim('}'), json.Delim(']'):
			depth--
		}
		if depth > maxDepth {
			w.faults.add(screen.Fault{Where: path, Problem: fmt.Sprintf("lists and objects lie more than %d deep", maxDepth), Want: "the form of the documentation"})
			w.broken = true
			return
		}
	}
}

// token is the next token; false if there is none, which is then a fault.
func (w *walker) token(path string) (json.Token, bool) {
	if w.broken {
		return nil, false
	}
	t, err := w.dec.Token()
	if err == nil {
		return t, true
	}
	w.broken = true
	line, column := position(w.data, w.dec.InputOffset())
	f := screen.Fault{Where: path, Want: "JSON; numbers as 41.5, without NaN or infinity"}
	var bad *json.SyntaxError
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		f.Problem = "the text ends in the middle"
	case errors.As(err, &bad):
		f.Problem = fmt.Sprintf("not JSON at line %d, column %d: %v", line, column, bad)
	default:
		f.Problem = fmt.Sprintf("line %d, column %d: %v", line, column, err)
	}
	w.faults.add(f)
	return nil, false
}

// end makes sure that nothing follows the document.
func (w *walker) end() {
	if w.broken {
		return
	}
	if _, err := w.dec.Token(); !errors.Is(err, io.EOF) {
		line, column := position(w.data, w.dec.InputOffset())
		w.faults.add(screen.Fault{Problem: fmt.Sprintf("something follows the document at line %d, column %d", line, column), Want: "one JSON object and nothing after it"})
	}
}

// position is line and column of the first byte from offset on that is no space, both from 1.
func position(data []byte, offset int64) (line, column int) {
	at := min(int(offset), len(data))
	at += len(data[at:]) - len(bytes.TrimLeft(data[at:], " \t\r\n,:"))
	head := data[:at]
	return bytes.Count(head, []byte("\n")) + 1, at - bytes.LastIndexByte(head, '\n')
}

func joinPath(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
