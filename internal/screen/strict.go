package screen

import (
	"fmt"
	"reflect"
	"strings"

	"go.yaml.in/yaml/v3"
)

var protocolType = reflect.TypeFor[Protocol]()

// strict walks a YAML tree beside the Go type it will be decoded into, notes the line of every key,
// and finds keys that the type does not have. The library's own strictness gives no nearest name
// and no path, and is lost below custom types.
type strict struct {
	name   string
	lines  map[string]int
	faults Faults
}

func (s *strict) at(n *yaml.Node) string { return fmt.Sprintf("%s:%d", s.name, n.Line) }

func (s *strict) check(n *yaml.Node, t reflect.Type, path string) {
	if len(s.faults) >= 50 {
		return
	}
	s.lines[path] = n.Line
	if n.Kind == yaml.AliasNode || n.Anchor != "" {
		s.faults.Add(s.at(n), "write the value out", "anchors and aliases are not used in a protocol")
		return
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case n.Kind == yaml.MappingNode && t.Kind() == reflect.Struct:
		s.mapping(n, t, path)
	case n.Kind == yaml.MappingNode && t.Kind() == reflect.Map:
		for i := 0; i+1 < len(n.Content); i += 2 {
			s.check(n.Content[i+1], t.Elem(), join(path, n.Content[i].Value))
		}
	case n.Kind == yaml.SequenceNode && t.Kind() == reflect.Slice:
		for i, c := range n.Content {
			s.check(c, t.Elem(), fmt.Sprintf("%s[%d]", path, i))
		}
	case n.Kind == yaml.ScalarNode && n.Tag != "!!null" && (t.Kind() == reflect.Struct || t.Kind() == reflect.Slice || t.Kind() == reflect.Map):
		s.faults.Add(s.at(n), "see `evenhand protocol show` for an example", "%s: %q stands where a %s is due", orTop(path), clip(n.Value, 40), kindWord(t.Kind()))
	}
}

func (s *strict) mapping(n *yaml.Node, t reflect.Type, path string) {
	fields := yamlFields(t)
	for i := 0; i+1 < len(n.Content); i += 2 {
		key := n.Content[i]
		ft, ok := fields[key.Value]
		if !ok {
			want := "one of: " + strings.Join(sortedKeys(fields), ", ")
			if near := Nearest(key.Value, sortedKeys(fields)); near != "" {
				want = fmt.Sprintf("did you mean %q?", near)
			}
			s.faults.Add(s.at(key), want, "%s: unknown key %q", orTop(path), clip(key.Value, 40))
			continue
		}
		s.check(n.Content[i+1], ft, join(path, key.Value))
		s.lines[join(path, key.Value)] = key.Line
	}
}

func yamlFields(t reflect.Type) map[string]reflect.Type {
	out := map[string]reflect.Type{}
	for i := range t.NumField() {
		f := t.Field(i)
		if tag, _, _ := strings.Cut(f.Tag.Get("yaml"), ","); tag != "-" && tag != "" {
			out[tag] = f.Type
		}
	}
	return out
}

func kindWord(k reflect.Kind) string {
	if k == reflect.Slice {
		return "list"
	}
	return "block of keys"
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func parentPath(path string) string {
	if i := strings.LastIndexAny(path, ".["); i >= 0 {
		return path[:i]
	}
	return ""
}

func orTop(path string) string {
	if path == "" {
		return "top of the file"
	}
	return path
}

func clip(s string, n int) string {
	if len(s) > n {
		return s[:n] + "…"
	}
	return s
}
