package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// readJSON decodes a request. It refuses a field that stands twice in one object, of which the decoder
// would silently take the last; locateJSON finds where it is.
func readJSON(data []byte, into any) error {
	if form, ok := into.(*readingsForm); ok {
		return form.read(data)
	}
	if err := json.Unmarshal(data, into); err != nil {
		return err
	}
	if _, first := into.(*any); first && !tidy(data, nil) {
		return errors.New("a field stands twice")
	}
	return nil
}

// fieldsCompared is up to how many fields of one object are compared with each other. No form has as
// many: in an object that has more, others are refused as unknown.
const fieldsCompared = 64

// tidy looks through a valid JSON text and reports whether every field stands once in its object. If
// known is given, also whether it knows every field, at the depth at which it stands, and whether
// nothing is null.
func tidy(data []byte, known func(depth int, quoted []byte) bool) bool {
	var keys [][]byte // of the objects that are open
	var from []int    // where the keys of each open object or list begin
	for i := 0; i < len(data); i++ {
		switch data[i] {
		case '{', '[':
			from = append(from, len(keys))
		case '}', ']':
			keys, from = keys[:from[len(from)-1]], from[:len(from)-1]
		case 'n':
			if known != nil {
				return false
			}
		case '"':
			end := stringEnd(data, i)
			key := data[i:end]
			i = end - 1
			if !colonFollows(data[end:]) {
				continue
			}
			have := keys[from[len(from)-1]:]
			for k := 0; k < min(len(have), fieldsCompared); k++ {
				if sameKey(have[k], key) {
					return false
				}
			}
			if known != nil && !known(len(from), key) {
				return false
			}
			keys = append(keys, key)
		}
	}
	return true
}

// stringEnd is the place behind the string that begins at i.
func stringEnd(data []byte, i int) int {
	for i++; data[i] != '"'; i++ {
		if data[i] == '\\' {
			i++
		}
	}
	return i + 1
}

func colonFollows(data []byte) bool {
	data = bytes.TrimLeft(data, " \t\r\n")
	return len(data) > 0 && data[0] == ':'
}

// sameKey compares two quoted keys, which may be written with escapes.
func sameKey(a, b []byte) bool {
	if bytes.IndexByte(a, '\\') < 0 && bytes.IndexByte(b, '\\') < 0 {
		return bytes.Equal(a, b)
	}
	var x, y string
	return json.Unmarshal(a, &x) == nil && json.Unmarshal(b, &y) == nil && x == y
}

// locateJSON finds what is wrong with a JSON text that could not be decoded: the first place where it
// is no JSON, where a number is beyond what can be stored, or where a field stands twice.
func locateJSON(text string) Fault {
	l := locator{dec: json.NewDecoder(strings.NewReader(text)), text: text}
	l.dec.UseNumber()
	for l.fault == nil {
		l.step()
	}
	return *l.fault
}

// locator walks through a text token by token and knows the path of each.
type locator struct {
	dec   *json.Decoder
	text  string
	open  []level
	done  bool
	fault *Fault
}

// level is an open object or list.
type level struct {
	list  bool
	index int
	key   string // of the value that is next; "" where a key is next
	keyed bool
	seen  map[string]bool
}

func (l *locator) step() {
	t, err := l.dec.Token()
	if err != nil {
		l.syntax(err)
		return
	}
	if l.done {
		l.found(Fault{Message: "something follows the document", Want: "one JSON value and nothing after it"})
		return
	}
	switch t := t.(type) {
	case json.Delim:
		if t == '{' || t == '[' {
			l.open = append(l.open, level{list: t == '[', seen: map[string]bool{}})
			return
		}
		l.open = l.open[:len(l.open)-1]
	case string:
		if top := l.top(); top != nil && !top.list && !top.keyed {
			top.key, top.keyed = t, true
			if top.seen[t] {
				l.found(Fault{Message: fmt.Sprintf("the field %q stands twice", clip(t)), Want: "each field once"})
			}
			top.seen[t] = true
			return
		}
	case json.Number:
		if _, err := strconv.ParseFloat(t.String(), 64); err != nil {
			l.found(Fault{Message: clip(t.String()) + " is beyond the numbers that can be stored", Value: clip(t.String()), Want: "a finite number"})
			return
		}
	}
	l.after()
}

// after goes on behind a value.
func (l *locator) after() {
	top := l.top()
	if top == nil {
		l.done = true
		return
	}
	top.index++
	top.key, top.keyed = "", false
}

func (l *locator) top() *level {
	if len(l.open) == 0 {
		return nil
	}
	return &l.open[len(l.open)-1]
}

func (l *locator) found(f Fault) {
	var b strings.Builder
	b.WriteString("body")
	for _, o := range l.open {
		switch {
		case o.list:
			fmt.Fprintf(&b, "[%d]", o.index)
		case o.keyed:
			b.WriteString("." + clip(o.key))
		}
	}
	f.Location = b.String()
	l.fault = &f
}

func (l *locator) syntax(err error) {
	if errors.Is(err, io.EOF) && len(l.open) == 0 { // the whole text is JSON: a value was of a kind that no field has
		l.found(Fault{Message: "a value does not fit its field", Want: "see /api/docs"})
		return
	}
	at := min(int(l.dec.InputOffset()), len(l.text))
	at += len(l.text[at:]) - len(strings.TrimLeft(l.text[at:], " \t\r\n,:"))
	line := strings.Count(l.text[:at], "\n") + 1
	column := at - strings.LastIndexByte(l.text[:at], '\n')
	f := Fault{Message: fmt.Sprintf("this is not JSON at line %d, column %d", line, column), Want: "JSON; numbers as 41.5, without NaN or infinity"}
	if at == len(l.text) || errors.Is(err, io.ErrUnexpectedEOF) {
		f.Message = "the body ends in the middle"
	} else {
		f.Value = clip(strings.ToValidUTF8(l.text[at:min(len(l.text), at+12)], "�"))
	}
	l.found(f)
}
