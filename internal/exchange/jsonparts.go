package exchange

import (
	"fmt"
	"strconv"

	"evenhand/internal/screen"
)

func (b *builder) reading(rec *screen.Record, raw *rawReading, j int, path string) {
	m := b.p.Measure(raw.Measure)
	if !raw.ok || m == nil && b.faults.count() {
		return
	}
	r := &raw.Reading
	r.Screen = rec.Screen.ID
	b.id(&r.ID, r.Screen, kindReading, j, path)
	if m != nil {
		trials, faults := m.ApplySign(r.Trials, raw.sign, path)
		r.Trials = trials
		if len(faults) > 0 {
			faults[0].Value = raw.sign
			b.faults.all(faults)
			return
		}
	}
	b.faults.all(trialValues(b.p.CheckReading(r, path), path, r.Trials))
	rec.Readings = append(rec.Readings, *r)
}

// trialValues fills in the value that a fault of a trial is about.
func trialValues(faults screen.Faults, path string, trials []float64) screen.Faults {
	for i := range faults {
		var k int
		if _, err := fmt.Sscanf(faults[i].Where, path+".trials[%d]", &k); err == nil && k < len(trials) {
			faults[i].Value = number(trials[k])
		}
	}
	return faults
}

// id gives a part its derived id if it has none, and refuses one that stands twice.
func (b *builder) id(id *string, screenID, kind string, index int, path string) {
	if *id == "" {
		*id = partID(screenID, kind, index)
	}
	if first, ok := b.parts[*id]; ok {
		b.twice(path, kind, *id, first)
		return
	}
	b.parts[*id] = path
}

func (b *builder) notDone(rec *screen.Record, raw []rawPart[screen.NotDone], list string) {
	for j := range raw {
		if !raw[j].ok || b.p.Measure(raw[j].part.Measure) == nil && b.faults.count() {
			continue
		}
		path := list + "[" + strconv.Itoa(j) + "]"
		n := &raw[j].part
		n.Screen = rec.Screen.ID
		b.id(&n.ID, n.Screen, kindNotDone, j, path)
		b.faults.all(b.p.CheckNotDone(n, path))
		rec.NotDone = append(rec.NotDone, *n)
	}
}

func (b *builder) answers(rec *screen.Record, raw []rawPart[screen.ChecklistAnswer], list string) {
	first := map[string]int{}
	for j := range raw {
		if !raw[j].ok || b.p.Item(raw[j].part.Item) == nil && b.faults.count() {
			continue
		}
		path := list + "[" + strconv.Itoa(j) + "]"
		c := &raw[j].part
		c.Screen = rec.Screen.ID
		b.id(&c.ID, c.Screen, kindAnswer, j, path)
		if k, twice := first[c.Item]; twice {
			b.faults.add(screen.Fault{Where: path + ".item", Problem: fmt.Sprintf("the item is answered at %s[%d] already", list, k), Want: "each item once", Value: clip(c.Item, 60)})
			continue
		}
		first[c.Item] = j
		b.faults.all(b.p.CheckAnswer(c, path))
		rec.Checklist = append(rec.Checklist, *c)
	}
}

func (b *builder) symptoms(rec *screen.Record, raw []rawPart[screen.Symptom], list string) {
	for j := range raw {
		if !raw[j].ok || b.p.Symptom(raw[j].part.Symptom) == nil && b.faults.count() {
			continue
		}
		path := list + "[" + strconv.Itoa(j) + "]"
		s := &raw[j].part
		s.Screen = rec.Screen.ID
		b.id(&s.ID, s.Screen, kindSymptom, j, path)
		faults := b.p.CheckSymptom(s, path)
		for i := range faults {
			if faults[i].Where == path+".symptom" { // the short form is the text itself
				faults[i].Where, faults[i].Value = path, clip(s.Symptom, 60)
			}
		}
		b.faults.all(faults)
		rec.Symptoms = append(rec.Symptoms, *s)
	}
}
