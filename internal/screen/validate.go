package screen

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits on what one request or file may hold. Common practice, no source.
const (
	MaxNameLen     = 200
	MaxNoteLen     = 2000
	MaxAge         = 100.0
	MaxReadings    = 5000 // in one screen
	MaxIDLen       = 64
	maxHeightCM    = 250
	maxMassKG      = 250
	minHeightCM    = 50
	minMassKG      = 8
	maxExternalLen = 64
)

// CheckID refuses ids that are empty, long, or hold anything but letters, digits and .:_-
func CheckID(id, where string, f *Faults) {
	ok := id != "" && len(id) <= MaxIDLen
	for _, c := range id {
		ok = ok && (c == '-' || c == '_' || c == '.' || c == ':' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z')
	}
	if !ok {
		f.Add(where, "1 to 64 letters, digits and . : _ -, best a UUIDv7", "%q is not an id", clip(id, 70))
	}
}

// CheckText refuses text that is too long or holds characters that are not Plain.
func CheckText(s string, most int, where string, f *Faults) {
	if !utf8.ValidString(s) {
		f.Add(where, "UTF-8 text", "the text is not valid UTF-8")
	}
	if utf8.RuneCountInString(s) > most {
		f.Add(where, fmt.Sprintf("at most %d characters", most), "the text has %d characters", utf8.RuneCountInString(s))
	}
	if !Plain(s) {
		f.Add(where, "plain text", "the text holds control characters")
	}
}

// Plain reports whether a text holds no control characters but tab and line end, which a terminal would
// obey, and none of the marks that turn the direction of the text around them, by which a name is shown
// as another one (Unicode Technical Report 36, on bidirectional text).
func Plain(s string) bool {
	return !strings.ContainsFunc(s, func(c rune) bool {
		return unicode.IsControl(c) && c != '\n' && c != '\t' || c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069
	})
}

// CheckAthlete says what is wrong with an athlete's data on the day today.
func (p *Protocol) CheckAthlete(a *Athlete, today Date, where string) Faults {
	var f Faults
	CheckID(a.ID, join(where, "id"), &f)
	if strings.TrimSpace(a.Name) == "" {
		f.Add(join(where, "name"), "the name that is called at a station", "the name is missing")
	}
	CheckText(a.Name, MaxNameLen, join(where, "name"), &f)
	CheckText(a.ExternalID, maxExternalLen, join(where, "external_id"), &f)
	checkBorn(a.Born, today, join(where, "born"), &f)
	if !a.Sex.Valid() {
		f.Add(join(where, "sex"), "male or female (for growth equations and thresholds)", "sex is %q", clip(string(a.Sex), 20))
	}
	p.checkHands(a, where, &f)
	if p.Sport(a.Sport) == nil {
		f.Add(join(where, "sport"), "one of: "+strings.Join(p.SportIDs(), ", "), "unknown sport %q", clip(a.Sport, 40))
	}
	if !a.Level.Valid() {
		f.Add(join(where, "level"), "youth, school, college or professional", "unknown level %q", clip(string(a.Level), 40))
	}
	checkBody(a.HeightCM, minHeightCM, maxHeightCM, "cm", join(where, "height_cm"), &f)
	checkBody(a.MassKG, minMassKG, maxMassKG, "kg", join(where, "mass_kg"), &f)
	for i, pos := range a.Positions {
		CheckText(pos, 40, fmt.Sprintf("%s[%d]", join(where, "positions"), i), &f)
	}
	return f
}

func (p *Protocol) checkHands(a *Athlete, where string, f *Faults) {
	if len(a.Hands) == 0 {
		f.Add(join(where, "throws"), "left, right or both", "the throwing hand is missing")
	}
	for i, h := range a.Hands {
		if !h.Hand.Valid() {
			f.Add(join(where, "throws"), "left, right or both", "the throwing hand is %q", clip(string(h.Hand), 20))
		}
		if h.From != "" && !h.From.Valid() {
			f.Add(join(where, "throws"), "a day such as 2026-02-10", "%q is not a day", clip(string(h.From), 20))
		}
		for _, g := range a.Hands[:i] {
			if g.From == h.From {
				f.Add(join(where, "throws"), "one hand for each day", "two throwing hands hold from the same day")
			}
		}
	}
}

func checkBorn(born, today Date, where string, f *Faults) {
	switch {
	case born == "":
		f.Add(where, "the birth date, as 2011-04-02", "the birth date is missing")
	case !born.Valid():
		f.Add(where, "a day such as 2011-04-02", "%q is not a day", clip(string(born), 20))
	case born > today:
		f.Add(where, "a day in the past", "the birth date %s is in the future", born)
	case born.YearsTo(today) > MaxAge:
		f.Add(where, "an age of 100 at most", "born %s, the athlete would be %d years old", born, int(born.YearsTo(today)))
	}
}

func checkBody(x, least, most float64, unit, where string, f *Faults) {
	if x == 0 {
		return
	}
	if math.IsNaN(x) || x < least || x > most {
		f.Add(where, fmt.Sprintf("%g to %g %s, or left out", least, most, unit), "%g %s is out of range", x, unit)
	}
}

// CheckScreen says what is wrong with a screen of the athlete on the day today.
func CheckScreen(s *Screen, a *Athlete, today Date, where string) Faults {
	var f Faults
	CheckID(s.ID, join(where, "id"), &f)
	switch {
	case !s.On.Valid():
		f.Add(join(where, "on"), "a day such as 2026-02-10", "%q is not a day", clip(string(s.On), 20))
	case s.On < a.Born:
		f.Add(join(where, "on"), "a day after "+string(a.Born), "the screen on %s is before the athlete's birth", s.On)
	case s.On > today.AddDays(1): // a tablet may stand on the other side of the date line
		f.Add(join(where, "on"), "today or earlier", "the screen is dated %s, in the future", s.On)
	}
	if !s.Kind.Valid() {
		f.Add(join(where, "kind"), "preseason, in_season or rehab", "unknown kind %q", clip(string(s.Kind), 20))
	}
	CheckText(s.Examiner, MaxNameLen, join(where, "examiner"), &f)
	CheckText(s.Protocol, MaxNameLen, join(where, "protocol"), &f)
	CheckText(s.Note, MaxNoteLen, join(where, "note"), &f)
	return f
}

// CheckReading says what is wrong with a reading: an unknown measure, a side that does not fit, too
// few or too many trials, a value that cannot be.
func (p *Protocol) CheckReading(r *Reading, where string) Faults {
	var f Faults
	CheckID(r.ID, join(where, "id"), &f)
	m := p.checkPlace(r.Measure, r.Side, where, &f)
	CheckText(r.Examiner, MaxNameLen, join(where, "examiner"), &f)
	CheckText(r.Instrument, MaxNameLen, join(where, "instrument"), &f)
	CheckText(r.Position, MaxNameLen, join(where, "position"), &f)
	CheckText(r.Device, MaxNameLen, join(where, "device"), &f)
	CheckText(r.Why, MaxNoteLen, join(where, "why"), &f)
	if m == nil {
		return f
	}
	if m.Derived != nil {
		f.Add(join(where, "measure"), "enter the readings of "+strings.Join(m.Derived.parts(), ", "), "%s is computed, not read", m.ID)
		return f
	}
	if n := len(r.Trials); n == 0 || n > m.Trials.Most {
		f.Add(join(where, "trials"), fmt.Sprintf("1 to %d trials; if it was not done, say so with the reason", m.Trials.Most), "%d trials of %s", n, m.ID)
		return f
	}
	if y := r.Taken.UTC().Year(); !r.Taken.IsZero() && (y < 2000 || y > 2200) {
		f.Add(join(where, "taken"), "the device's time, or left out", "the reading is said to be taken in the year %d", y)
	}
	for i, x := range r.Trials {
		m.checkValue(x, fmt.Sprintf("%s[%d]", join(where, "trials"), i), &f)
	}
	if r.Step < 0 || math.IsNaN(r.Step) || (len(m.Plausible) == 2 && r.Step > m.Plausible[1]-m.Plausible[0]) {
		f.Add(join(where, "step"), "the smallest step of the instrument, in "+m.Unit, "the step is %g", r.Step)
	}
	return f
}

func (d *Derived) parts() []string {
	return append(sortedKeys(d.Sum), sortedKeys(d.Per)...)
}

// checkPlace checks measure and side, and gives the measure if there is one.
func (p *Protocol) checkPlace(measure string, side Side, where string, f *Faults) *Measure {
	m := p.Measure(measure)
	if m == nil {
		want := "see the list of measures in the protocol"
		if near := Nearest(measure, p.MeasureIDs()); near != "" {
			want = fmt.Sprintf("did you mean %q?", near)
		}
		f.Add(join(where, "measure"), want, "unknown measure %q", clip(measure, 60))
		return nil
	}
	switch {
	case m.Paired && side != Left && side != Right:
		f.Add(join(where, "side"), "left or right", "%s is measured on a side, but the side is %q", m.ID, clip(string(side), 20))
	case !m.Paired && side != NoSide:
		f.Add(join(where, "side"), `"none"`, "%s has no side, but the side is %q", m.ID, clip(string(side), 20))
	}
	return m
}

func (m *Measure) checkValue(x float64, where string, f *Faults) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		f.Add(where, "a number", "the value of %s is not a finite number", m.ID)
		return
	}
	if m.Scale == Category {
		if x != math.Trunc(x) || x < 0 || int(x) >= len(m.Categories) {
			f.Add(where, m.categoryWords(), "%g is no category of %s", x, m.ID)
		}
		return
	}
	if x < m.Plausible[0] || x > m.Plausible[1] {
		f.Add(where, fmt.Sprintf("%g to %s", m.Plausible[0], amount(m.Plausible[1], m.Unit)), "%s is outside the plausible range of %s", amount(x, m.Unit), m.ID)
	}
	if m.Scale == Count && x != math.Trunc(x) {
		f.Add(where, "a whole number", "%g is not a count", x)
	}
}

func (m *Measure) categoryWords() string {
	parts := make([]string, len(m.Categories))
	for i, c := range m.Categories {
		parts[i] = fmt.Sprintf("%d (%s)", i, c)
	}
	return strings.Join(parts, ", ")
}

// AsWritten marks trials that already carry the protocol's own signs.
const AsWritten = "as_written"

// ApplySign turns trials as they were called out into the protocol's signs. word is one of the
// measure's sign words, AsWritten, or empty. Without a word a value above zero is refused for a
// measure that has sign words: some write a loss of extension as a plain number, others its opposite.
func (m *Measure) ApplySign(trials []float64, word, where string) ([]float64, Faults) {
	var f Faults
	if m.SignWords == nil {
		if word != "" && word != AsWritten {
			f.Add(join(where, "sign"), "leave it out", "%s takes no sign word", m.ID)
		}
		return trials, f
	}
	pos, neg := m.SignWords.Positive, m.SignWords.Negative
	want := fmt.Sprintf("say sign: %q or %q, or %q for signed values (%s positive)", pos, neg, AsWritten, pos)
	switch {
	case word == AsWritten:
		return trials, f
	case word == "" && slices.ContainsFunc(trials, func(x float64) bool { return x > 0 }):
		f.Add(join(where, "sign"), want, "the sign of %s is unclear: is it %s or %s?", m.ID, pos, neg)
	case word == "":
		return trials, f
	case word != pos && word != neg:
		f.Add(join(where, "sign"), want, "unknown sign word %q", clip(word, 40))
	case word == pos && slices.ContainsFunc(trials, func(x float64) bool { return x < 0 }):
		f.Add(join(where, "sign"), want, "%s is said, but a value is negative", pos)
	case word == neg:
		out := make([]float64, len(trials))
		for i, x := range trials {
			out[i] = -math.Abs(x)
		}
		return out, f
	}
	return trials, f
}

// CheckNotDone says what is wrong with the note that something was not done.
func (p *Protocol) CheckNotDone(n *NotDone, where string) Faults {
	var f Faults
	CheckID(n.ID, join(where, "id"), &f)
	p.checkPlace(n.Measure, n.Side, where, &f)
	if !n.Reason.Valid() {
		f.Add(join(where, "reason"), "pain, refused, absent or no_time", "unknown reason %q", clip(string(n.Reason), 30))
	}
	return f
}

// CheckAnswer says what is wrong with an answer to a checklist item.
func (p *Protocol) CheckAnswer(c *ChecklistAnswer, where string) Faults {
	var f Faults
	CheckID(c.ID, join(where, "id"), &f)
	if p.Item(c.Item) == nil {
		f.Add(join(where, "item"), nearWords(c.Item, p.ItemIDs()), "unknown checklist item %q", clip(c.Item, 60))
	}
	if !c.Answer.Valid() {
		f.Add(join(where, "answer"), "met, not_met or not_seen", "unknown answer %q", clip(string(c.Answer), 30))
	}
	CheckText(c.Examiner, MaxNameLen, join(where, "examiner"), &f)
	return f
}

// CheckSymptom says what is wrong with a symptom entry.
func (p *Protocol) CheckSymptom(s *Symptom, where string) Faults {
	var f Faults
	CheckID(s.ID, join(where, "id"), &f)
	if p.Symptom(s.Symptom) == nil {
		f.Add(join(where, "symptom"), nearWords(s.Symptom, p.SymptomIDs()), "unknown symptom %q", clip(s.Symptom, 60))
	}
	if s.Side != "" && s.Side != Left && s.Side != Right && s.Side != NoSide {
		f.Add(join(where, "side"), "left, right, none or left out", "the side is %q", clip(string(s.Side), 20))
	}
	CheckText(s.Note, MaxNoteLen, join(where, "note"), &f)
	return f
}
