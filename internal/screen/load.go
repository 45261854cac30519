package screen

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"sort"
	"sync"

	"go.yaml.in/yaml/v3"
)

//go:embed protocol/*.yaml
var shipped embed.FS

// MaxProtocolBytes is the largest protocol file that is read.
const MaxProtocolBytes = 4 << 20

// Default is the protocol shipped with the program. It is loaded once and shared: do not change it.
// The error is a fault of the program's own data, with file and line.
var Default = sync.OnceValues(func() (*Protocol, error) {
	l := newLoader()
	if err := l.readShipped(); err != nil {
		return nil, err
	}
	return l.finish()
})

// LoadProtocol reads a user's protocol file. A file with "extends: default" starts from the shipped
// protocol: its measures, rules, sports, symptoms and items replace those with the same id, others
// are added, and ids under remove are left out. Any other file stands alone. name is used in faults,
// which are returned as Faults, each with file and line.
func LoadProtocol(name string, r io.Reader) (*Protocol, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxProtocolBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read protocol %s: %w", name, err)
	}
	if len(data) > MaxProtocolBytes {
		return nil, Faults{{Where: name, Problem: "the file is larger than 4 MiB", Want: "a protocol is some 100 kB of YAML"}}
	}
	part, err := readPart(name, data)
	if err != nil {
		return nil, err
	}
	l := newLoader()
	switch part.proto.Extends {
	case "default":
		if err := l.readShipped(); err != nil {
			return nil, err
		}
		l.remove(part)
	case "":
	default:
		return nil, Faults{{Where: part.at("extends"), Problem: fmt.Sprintf("cannot extend %q", part.proto.Extends), Want: `write "extends: default" or leave it out`}}
	}
	l.merge(part)
	return l.finish()
}

// part is one YAML file, decoded, with the line of each of its keys.
type part struct {
	name  string
	proto Protocol
	lines map[string]int
}

// at is file and line of a path such as rules[3].unit, or of the nearest path above it.
func (p *part) at(path string) string {
	for q := path; q != ""; q = parentPath(q) {
		if n, ok := p.lines[q]; ok {
			return fmt.Sprintf("%s:%d", p.name, n)
		}
	}
	return p.name
}

// loader merges parts and remembers where each thing came from.
type loader struct {
	proto  Protocol
	origin map[string]place // "rules/elbow_flexion_loss" -> where it stands
	faults Faults
	base   *part // the part that set name and cutoffs last
}

type place struct {
	part *part
	path string
}

func newLoader() *loader {
	return &loader{origin: map[string]place{}, proto: Protocol{Sources: map[string]Source{}}}
}

func (l *loader) readShipped() error {
	names, err := shipped.ReadDir("protocol")
	if err != nil {
		return fmt.Errorf("embedded protocol: %w", err)
	}
	for _, n := range names {
		data, err := shipped.ReadFile("protocol/" + n.Name())
		if err != nil {
			return fmt.Errorf("embedded protocol: %w", err)
		}
		p, err := readPart(n.Name(), data)
		if err != nil {
			return err
		}
		l.merge(p)
	}
	return nil
}

// readPart decodes one file strictly: unknown keys, anchors and second documents are faults.
func readPart(name string, data []byte) (*part, error) {
	p := &part{name: name, lines: map[string]int{}}
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		return nil, yamlFault(name, err)
	}
	if len(doc.Content) == 0 {
		return nil, Faults{{Where: name, Problem: "the file is empty", Want: "see `evenhand protocol show` for an example"}}
	}
	s := strict{name: name, lines: p.lines}
	s.check(doc.Content[0], protocolType, "")
	if len(s.faults) > 0 {
		return nil, s.faults
	}
	if err := doc.Content[0].Decode(&p.proto); err != nil {
		return nil, yamlFault(name, err)
	}
	return p, nil
}

func yamlFault(name string, err error) error {
	var te *yaml.TypeError
	if errors.As(err, &te) {
		var f Faults
		for _, m := range te.Errors {
			f.Add(name, "see `evenhand protocol show` for the form of each entry", "%s", m)
		}
		return f
	}
	return Faults{{Where: name, Problem: err.Error(), Want: "the file must be YAML"}}
}

// merge lays a part over what is there. Within one part an id may stand only once.
func (l *loader) merge(p *part) {
	q := &l.proto
	if p.proto.Name != "" {
		q.Name, q.Version, q.Title, l.base = p.proto.Name, p.proto.Version, p.proto.Title, p
		q.Extends = p.proto.Extends
	}
	if p.proto.Cutoffs != (Cutoffs{}) {
		q.Cutoffs = p.proto.Cutoffs
	}
	if len(p.proto.Stations) > 0 { // a day is planned as a whole: stations are replaced, not mixed
		q.Stations, l.origin["stations"] = p.proto.Stations, place{p, "stations"}
	}
	if p.proto.FollowUp.Known() || len(p.proto.FollowUp.Paces) > 0 { // as a whole, like the cut-offs
		q.FollowUp, l.origin["follow_up/"+q.Name] = p.proto.FollowUp, place{p, "follow_up"}
	}
	q.Cautions = append(q.Cautions, p.proto.Cautions...)
	q.Studies = append(q.Studies, p.proto.Studies...)
	for _, id := range sortedKeys(p.proto.Sources) {
		q.Sources[id] = p.proto.Sources[id]
		l.origin["sources/"+id] = place{p, "sources." + id}
	}
	q.Links = mergeByID(l, p, "links", q.Links, p.proto.Links, func(x *Link) string { return x.ID })
	q.Sports = mergeByID(l, p, "sports", q.Sports, p.proto.Sports, func(x *Sport) string { return x.ID })
	q.Symptoms = mergeByID(l, p, "symptoms", q.Symptoms, p.proto.Symptoms, func(x *SymptomDef) string { return x.ID })
	q.Measures = mergeByID(l, p, "measures", q.Measures, p.proto.Measures, func(x *Measure) string { return x.ID })
	q.Rules = mergeByID(l, p, "rules", q.Rules, p.proto.Rules, func(x *Rule) string { return x.ID })
	q.Checklist = mergeByID(l, p, "checklist", q.Checklist, p.proto.Checklist, func(x *ChecklistItem) string { return x.ID })
}

func mergeByID[T any](l *loader, p *part, kind string, have, add []T, id func(*T) string) []T {
	for i := range add {
		key := id(&add[i])
		path := fmt.Sprintf("%s[%d]", kind, i)
		if old, ok := l.origin[kind+"/"+key]; ok && old.part == p {
			l.faults.Add(p.at(path+".id"), "each id stands once", "%s: the id %q stands twice", kind, key)
			continue
		}
		l.origin[kind+"/"+key] = place{p, path}
		at := slices.IndexFunc(have, func(x T) bool { return id(&x) == key })
		if at >= 0 {
			have[at] = add[i]
		} else {
			have = append(have, add[i])
		}
	}
	return have
}

// remove takes out of what is extended the ids that the part leaves out.
func (l *loader) remove(p *part) {
	for i := range l.proto.Stations {
		st := &l.proto.Stations[i]
		st.Takes = slices.DeleteFunc(st.Takes, func(id string) bool { return slices.Contains(p.proto.Remove, id) })
	}
	for i, id := range p.proto.Remove {
		n := len(l.proto.Measures) + len(l.proto.Rules) + len(l.proto.Checklist)
		l.proto.Measures = slices.DeleteFunc(l.proto.Measures, func(m Measure) bool { return m.ID == id })
		l.proto.Rules = slices.DeleteFunc(l.proto.Rules, func(r Rule) bool { return r.ID == id })
		l.proto.Checklist = slices.DeleteFunc(l.proto.Checklist, func(c ChecklistItem) bool { return c.ID == id })
		if n == len(l.proto.Measures)+len(l.proto.Rules)+len(l.proto.Checklist) {
			l.faults.Add(p.at(fmt.Sprintf("remove[%d]", i)), "name a measure, a rule or a checklist item of the shipped protocol", "nothing has the id %q", id)
		}
	}
}

// finish validates the whole, works out the errors, and seals it with its hash.
func (l *loader) finish() (*Protocol, error) {
	if err := l.faults.Err(); err != nil {
		return nil, err
	}
	p := l.proto
	slices.SortStableFunc(p.Measures, func(a, b Measure) int { return p.linkIndex(a.Link) - p.linkIndex(b.Link) })
	slices.SortStableFunc(p.Rules, func(a, b Rule) int { return p.linkIndex(a.Link) - p.linkIndex(b.Link) })
	for i := range p.Measures {
		p.Measures[i].setDefaults()
		p.Measures[i].Resolved = p.Measures[i].Error.resolve(p.Measures[i].Scale, p.Sources)
	}
	p.index()
	v := validator{loader: l, p: &p}
	v.all()
	if err := v.faults.Err(); err != nil {
		return nil, err
	}
	sealed, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("seal protocol: %w", err)
	}
	sum := sha256.Sum256(sealed)
	p.Hash = hex.EncodeToString(sum[:])
	return &p, nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
