package exchange

import "strings"

// Meaning is what a column of a roster holds. The empty Meaning leaves the column out.
type Meaning string

// The meanings that a column can have.
const (
	MeansName     Meaning = "name"
	MeansFirst    Meaning = "first_name"
	MeansLast     Meaning = "last_name"
	MeansBorn     Meaning = "born"
	MeansSex      Meaning = "sex"
	MeansThrows   Meaning = "throws"
	MeansSport    Meaning = "sport"
	MeansLevel    Meaning = "level"
	MeansPosition Meaning = "positions"
	MeansHeight   Meaning = "height"
	MeansHeightCM Meaning = "height_cm"
	MeansHeightM  Meaning = "height_m"
	MeansHeightIn Meaning = "height_in"
	MeansHeightFt Meaning = "height_ft"
	MeansMass     Meaning = "mass"
	MeansMassKG   Meaning = "mass_kg"
	MeansMassLB   Meaning = "mass_lb"
	MeansNumber   Meaning = "external_id"
	MeansConsent  Meaning = "consent_on"
)

// MeaningChoice is a meaning with its words.
type MeaningChoice struct {
	Meaning Meaning
	Words   string
}

// MeaningChoices lists the meanings in the order in which they are offered.
func MeaningChoices() []MeaningChoice {
	return []MeaningChoice{
		{MeansName, "name"}, {MeansFirst, "first name"}, {MeansLast, "last name"}, {MeansBorn, "birth date"}, {MeansSex, "sex"},
		{MeansThrows, "throwing hand"}, {MeansSport, "sport"}, {MeansLevel, "level of play"}, {MeansPosition, "positions"},
		{MeansHeight, "height, in cm unless a unit is written"}, {MeansHeightCM, "height, cm"}, {MeansHeightM, "height, metres"},
		{MeansHeightIn, "height, inches"}, {MeansHeightFt, "height, feet and inches"},
		{MeansMass, "mass, in kg unless a unit is written"}, {MeansMassKG, "mass, kg"}, {MeansMassLB, "mass, pounds"},
		{MeansNumber, "number (ID)"}, {MeansConsent, "date of the consent for screening"}, {"", "nothing: leave it out"},
	}
}

// Words is how the meaning is said.
func (m Meaning) Words() string {
	for _, c := range MeaningChoices() {
		if c.Meaning == m {
			return c.Words
		}
	}
	return string(m)
}

// field is what two meanings share that cannot both be given: height in cm and height in inches.
func (m Meaning) field() string {
	s := string(m)
	for _, f := range []string{"height", "mass"} {
		if strings.HasPrefix(s, f) {
			return f
		}
	}
	return s
}

// synonyms are the headings that are understood, in plain form; see plainHeading. Our own list, of
// words in common use.
var synonyms = map[Meaning][]string{
	MeansName:     {"name", "names", "full name", "fullname", "athlete", "athlete name", "athletes name", "player", "player name", "players name", "student", "student name"},
	MeansFirst:    {"first name", "firstname", "first", "given name", "given names", "forename"},
	MeansLast:     {"last name", "lastname", "last", "surname", "family name"},
	MeansBorn:     {"born", "born on", "birth date", "birthdate", "date of birth", "dateofbirth", "dob", "birthday", "birth day", "date born"},
	MeansSex:      {"sex", "gender", "m f", "sex m f", "gender m f", "boy girl", "male female"},
	MeansThrows:   {"throws", "throw", "throwing hand", "throwing arm", "throws with", "throws l r", "throws r l", "hand", "hand thrown with"},
	MeansSport:    {"sport"},
	MeansLevel:    {"level", "level of play", "playing level"},
	MeansPosition: {"position", "positions", "pos", "position s", "playing position"},
	MeansHeight:   {"height", "ht", "stature", "standing height", "body height"},
	MeansMass:     {"mass", "weight", "wt", "body mass", "body weight", "bodyweight"},
	MeansConsent:  {"consent", "consent on", "consent date", "date of consent", "consent given", "consent given on", "consent for screening"},
	MeansNumber:   {"external id", "externalid", "id", "number", "no", "nr", "num", "#", "id number", "id no", "athlete id", "athlete number", "player id", "player number", "member id", "member number", "student id", "registration number", "record number"},
}

// notTaken are headings that look like one of ours and are not, with the reason.
var notTaken = map[string]string{
	"bats throws": "it may hold the batting hand and the throwing hand in one cell", "b t": "it may hold the batting hand and the throwing hand in one cell",
	"throws bats": "it may hold the batting hand and the throwing hand in one cell", "bat throw": "it may hold the batting hand and the throwing hand in one cell",
	"bats": "the batting hand is not kept", "handedness": "the hand one writes with need not be the throwing hand", "dominant hand": "the hand one writes with need not be the throwing hand",
	"age": "an age is not a birth date", "age group": "an age group is not a birth date", "year of birth": "a year is not a birth date", "birth year": "a year is not a birth date", "yob": "a year is not a birth date",
	"grade": "a grade at school is not a level of play", "class": "a class at school is not a level of play", "year": "a year is not a birth date or a level of play",
	"jersey": "a number on a shirt changes hands", "jersey number": "a number on a shirt changes hands", "jersey no": "a number on a shirt changes hands", "shirt number": "a number on a shirt changes hands",
}

// unitWords are units that may stand in the heading of a height or a mass.
var unitWords = map[string]map[string]Meaning{
	"height": {"cm": MeansHeightCM, "centimetres": MeansHeightCM, "centimeters": MeansHeightCM, "m": MeansHeightM, "metres": MeansHeightM, "meters": MeansHeightM,
		"in": MeansHeightIn, "inches": MeansHeightIn, "ft": MeansHeightFt, "feet": MeansHeightFt, "ft in": MeansHeightFt, "feet inches": MeansHeightFt, "feet and inches": MeansHeightFt},
	"mass": {"kg": MeansMassKG, "kilograms": MeansMassKG, "lb": MeansMassLB, "lbs": MeansMassLB, "pounds": MeansMassLB},
}

var bySynonym = func() map[string]Meaning {
	out := map[string]Meaning{}
	for m, words := range synonyms {
		for _, w := range words {
			out[w] = m
		}
	}
	return out
}()

// plainHeading is a heading in lower case, words separated by one space, without points and brackets.
func plainHeading(s string) string {
	s = strings.NewReplacer(".", "", "'", "", "’", "").Replace(strings.ToLower(s))
	return strings.Join(strings.FieldsFunc(s, func(c rune) bool { return strings.ContainsRune(" \t\r\n\u00a0_-/\\()[],:;*&?", c) }), " ")
}

// meaningOf is what a heading means, and why it is left out if it looks like one of ours.
func meaningOf(heading string) (m Meaning, why string) {
	h := plainHeading(heading)
	if m, ok := bySynonym[h]; ok {
		return m, ""
	}
	if why, ok := notTaken[h]; ok {
		return "", why
	}
	words := strings.Fields(h)
	for n := 1; n < len(words); n++ { // "body height in cm": the unit follows
		unit := strings.TrimPrefix(strings.Join(words[n:], " "), "in ")
		if m, ok := bySynonym[strings.Join(words[:n], " ")]; ok {
			if u, ok := unitWords[string(m)][unit]; ok {
				return u, ""
			}
		}
	}
	return "", ""
}

// recognised counts the different meanings among headings.
func recognised(headings []string) int {
	seen := map[Meaning]bool{}
	for _, h := range headings {
		if m, _ := meaningOf(h); m != "" {
			seen[m] = true
		}
	}
	return len(seen)
}

// Recognise says what the columns mean by their headings. A meaning is given once, to the first column;
// a first or last name beside a column with the full name is left out.
func Recognise(headings []string) []Meaning {
	out := make([]Meaning, len(headings))
	seen := map[string]bool{}
	for i, h := range headings {
		m, _ := meaningOf(h)
		if m != "" && !seen[m.field()] {
			seen[m.field()] = true
			out[i] = m
		}
	}
	if seen[string(MeansName)] {
		for i, m := range out {
			if m == MeansFirst || m == MeansLast {
				out[i] = ""
			}
		}
	}
	return out
}

// ColumnNote says why a heading was read so, "" if that is plain.
func ColumnNote(heading string, m Meaning) string {
	own, why := meaningOf(heading)
	switch {
	case m == "" && why != "":
		return "left out: " + why
	case m == "" && own != "":
		return "left out; by its heading it would be the " + own.Words()
	case m == "":
		return "left out: not recognised"
	case own == m:
		return "recognised by its heading"
	}
	return "as you said"
}
