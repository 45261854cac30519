package screen

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"slices"
	"testing"
)

var updateCases = flag.Bool("update", false, "write measures and texts of testdata/questions.json anew")

const casesFile = "testdata/questions.json"

// questionCases is testdata/questions.json. Names, readings and what is wanted were written by hand, from
// the protocol's figures; the measures and the texts were written by this test. The checks that a station
// makes while a value is typed (web/static/station/rules.js) are held to the same file.
type questionCases struct {
	About    string         `json:"about"`
	Measures []caseMeasure  `json:"measures"`
	Cases    []questionCase `json:"cases"`
}

// caseMeasure is what a station is told of a measure, with the names that the API gives it.
type caseMeasure struct {
	ID          string    `json:"id"`
	Name        string    `json:"name"`
	Unit        string    `json:"unit"`
	Paired      bool      `json:"paired"`
	Limb        Limb      `json:"limb,omitempty"`
	Scale       Scale     `json:"scale"`
	Trials      int       `json:"trials"`
	Most        int       `json:"most"`
	AgreeWithin float64   `json:"agree_within,omitempty"`
	Step        float64   `json:"step,omitempty"`
	Plausible   []float64 `json:"plausible,omitempty"`
	Typical     []float64 `json:"typical,omitempty"`
	SwapMargin  float64   `json:"swap_margin"`
	Placing     float64   `json:"placing"`
	Cap         float64   `json:"cap,omitempty"`
	Timed       bool      `json:"timed"`
	Categories  []string  `json:"categories,omitempty"`
	Say         *SayWords `json:"say,omitempty"`
}

type questionCase struct {
	Name     string        `json:"name"`
	Hand     Hand          `json:"hand"`
	Readings []caseReading `json:"readings"`
	Want     []string      `json:"want"` // kind, measure and side of each question, in order
	Texts    []string      `json:"texts"`
}

type caseReading struct {
	Measure string    `json:"measure"`
	Side    Side      `json:"side"`
	Trials  []float64 `json:"trials"`
}

func TestQuestionCases(t *testing.T) {
	p := defaultProtocol(t)
	data, err := os.ReadFile(casesFile)
	if err != nil {
		t.Fatal(err)
	}
	var file questionCases
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) < 60 {
		t.Errorf("only %d cases", len(file.Cases))
	}
	used := map[string]bool{}
	for i := range file.Cases {
		c := &file.Cases[i]
		kinds, texts := c.ask(p)
		if !slices.Equal(kinds, c.Want) {
			t.Errorf("%s: asked %q, want %q", c.Name, kinds, c.Want)
		}
		c.Texts = texts
		for _, r := range c.Readings {
			used[r.Measure] = true
		}
	}
	file.About = "Values that a station should or should not ask about: names, readings and wants by hand; go test ./internal/screen -run QuestionCases -update writes the rest."
	file.Measures = casesMeasures(p, used)
	is := file.lines(t)
	if *updateCases {
		if err := os.WriteFile(casesFile, is, 0o600); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(is, data) {
		t.Errorf("%s says other measures or texts than the protocol: run this test with -update", casesFile)
	}
}

// ask is what the server asks about the readings of the case.
func (c *questionCase) ask(p *Protocol) (kinds, texts []string) {
	r := Record{Screen: Screen{On: "2026-02-10"}, Athlete: Athlete{Hands: []HandSince{{Hand: c.Hand}}}}
	for _, x := range c.Readings {
		r.Readings = append(r.Readings, Reading{Measure: x.Measure, Side: x.Side, Trials: x.Trials})
	}
	kinds, texts = []string{}, []string{}
	for _, q := range p.Questions(&r, nil) {
		kinds = append(kinds, q.Kind+" "+q.Measure+" "+string(q.Side))
		texts = append(texts, q.Text)
	}
	return kinds, texts
}

func casesMeasures(p *Protocol, used map[string]bool) []caseMeasure {
	var out []caseMeasure
	for i := range p.Measures {
		m := &p.Measures[i]
		if !used[m.ID] {
			continue
		}
		out = append(out, caseMeasure{ID: m.ID, Name: m.Name, Unit: UnitWords(m.Unit), Paired: m.Paired, Limb: m.Limb, Scale: m.Scale,
			Trials: m.Trials.Planned, Most: m.Trials.Most, AgreeWithin: m.Trials.AgreeWithin, Step: m.Step, Plausible: m.Plausible,
			Typical: m.Typical, SwapMargin: m.SwapMargin(), Placing: m.Resolved.Placing, Cap: m.Cap, Timed: m.Unit == "s",
			Categories: m.Categories, Say: m.SayWords})
	}
	return out
}

// lines is the file with a line for each measure and each case.
func (f *questionCases) lines(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	line := func(before string, v any) {
		text, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		b.WriteString(before)
		b.Write(text)
	}
	line("{\n\"about\": ", f.About)
	before := ",\n\"measures\": [\n"
	for i := range f.Measures {
		line(before, f.Measures[i])
		before = ",\n"
	}
	before = "\n],\n\"cases\": [\n"
	for i := range f.Cases {
		line(before, f.Cases[i])
		before = ",\n"
	}
	b.WriteString("\n]\n}\n")
	return b.Bytes()
}
