package exchange

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"evenhand/internal/screen"
)

// DefaultMaxBytes is the largest input that is read where Options say nothing else.
const DefaultMaxBytes = 20 << 20

// Document is what an input holds, whatever its form.
type Document struct {
	Athletes []screen.Athlete // those that the input brings; none if it only refers to athletes
	Records  []screen.Record  // in the order of the input
	Events   []screen.Event   // what else happened to the athletes
	Consents []screen.Consent // of the athletes, as far as their form is right; what they say is not checked
	Places   []string         // where each of Records stands in the input
	// Unresolved says that Records name athletes only by the text of the input: Screen.Athlete and
	// Athlete.ID are that text, and nothing else is known of the athlete. Such a document cannot be
	// scored or stored before the caller has found the athletes; see Options.Known.
	Unresolved bool
	Notes      []string   // what was taken for granted in reading
	Questions  []Question // accepted values that a person should look at again
}

// Question is a question about accepted data, with the screen and the athlete it is about.
type Question struct {
	Screen  string `json:"screen"`
	Athlete string `json:"athlete"`
	screen.Question
}

// Options are what a reader takes besides the input.
type Options struct {
	// Today is the day on which birth dates and screens are judged. It must be given.
	Today screen.Date
	// Team is the team that the screens are read for: a screen that names no team belongs to it, one
	// that names another is refused. Empty: every team is accepted.
	Team string
	// MaxBytes is the largest input accepted; 0 means DefaultMaxBytes.
	MaxBytes int64
	// Known finds an athlete who is on record already, by the text with which the input refers to
	// him or her; nil if there is none. Without Known a JSON screen must refer to an athlete of the
	// same document, and readings without athlete columns stay unresolved.
	Known func(ref string) *screen.Athlete
}

// namespace makes the ids that are derived here differ from those of everybody else.
var namespace = uuid.MustParse("6f1f5c0e-3b1a-5d0b-9c53-52a4f7f3e6d1")

// derivedID is the UUIDv5 of the parts: the same input gives the same id every time, so that a file
// that is sent twice is one set of records.
func derivedID(parts ...string) string {
	return uuid.NewSHA1(namespace, []byte(strings.Join(parts, "\x00"))).String()
}

// partID is the id of a reading, answer, symptom or note of a screen that brings none of its own.
func partID(screenID, kind string, index int) string {
	return derivedID(screenID, kind, strconv.Itoa(index))
}

// The kinds of part that ids are derived for.
const (
	kindReading = "reading"
	kindNotDone = "not_done"
	kindAnswer  = "answer"
	kindSymptom = "symptom"
)

func (o *Options) most() int64 {
	if o.MaxBytes <= 0 {
		return DefaultMaxBytes
	}
	return o.MaxBytes
}

// readLimited reads r up to the limit. A larger input is refused without reading more of it. An
// error other than Faults is one of r itself.
func readLimited(r io.Reader, opt Options) ([]byte, error) {
	most := opt.most()
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	if err != nil {
		return nil, fmt.Errorf("read input: %w", err)
	}
	if int64(len(data)) > most {
		return nil, screen.Faults{{Problem: "the input is larger than " + bytesWords(most), Want: "split it, by team or by season"}}
	}
	return data, nil
}

func bytesWords(n int64) string {
	if n >= 1<<20 && n%(1<<20) == 0 {
		return fmt.Sprintf("%d MiB", n>>20)
	}
	return fmt.Sprintf("%d bytes", n)
}

// ask looks through all records for values that a person should look at again. The earlier record
// that a value is held against is the athlete's last one before it in the same document.
func (d *Document) ask(p *screen.Protocol) {
	order := make([]int, len(d.Records))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(d.Records[a].Screen.On, d.Records[b].Screen.On)
	})
	before := make([]*screen.Record, len(d.Records))
	newest := map[string]*screen.Record{}
	for _, i := range order {
		r := &d.Records[i]
		before[i] = newest[r.Screen.Athlete]
		newest[r.Screen.Athlete] = r
	}
	d.Questions = nil
	for i := range d.Records {
		r := &d.Records[i]
		for _, q := range p.Questions(r, before[i]) {
			d.Questions = append(d.Questions, Question{r.Screen.ID, r.Screen.Athlete, q})
		}
	}
}
