package exchange

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"evenhand/internal/screen"
)

// The words that people write in rosters, in plain form; see plainHeading. Our own lists.
var (
	sexWords = map[string]screen.Sex{"m": screen.Male, "male": screen.Male, "boy": screen.Male, "man": screen.Male, "boys": screen.Male,
		"f": screen.Female, "female": screen.Female, "girl": screen.Female, "woman": screen.Female, "w": screen.Female, "girls": screen.Female}
	handWordsOf = map[string]screen.Hand{"r": screen.RightHand, "right": screen.RightHand, "rh": screen.RightHand, "right hand": screen.RightHand, "right handed": screen.RightHand, "righty": screen.RightHand,
		"l": screen.LeftHand, "left": screen.LeftHand, "lh": screen.LeftHand, "left hand": screen.LeftHand, "left handed": screen.LeftHand, "lefty": screen.LeftHand,
		"b": screen.BothHands, "both": screen.BothHands, "s": screen.BothHands, "switch": screen.BothHands, "either": screen.BothHands, "both hands": screen.BothHands, "ambidextrous": screen.BothHands}
	levelWords = map[string]screen.Level{"youth": screen.Youth, "school": screen.School, "high school": screen.School, "college": screen.College,
		"university": screen.College, "professional": screen.Professional, "pro": screen.Professional}
	// Short forms of the field's places, which are the same in both ball games.
	positionWords = map[string]string{"p": "pitcher", "rhp": "pitcher", "lhp": "pitcher", "sp": "pitcher", "rp": "pitcher", "c": "catcher",
		"1b": "infielder", "2b": "infielder", "3b": "infielder", "ss": "infielder", "if": "infielder", "inf": "infielder",
		"of": "outfielder", "lf": "outfielder", "cf": "outfielder", "rf": "outfielder"}
)

func readSex(s string) (screen.Sex, *screen.Fault) {
	if x, ok := sexWords[plainHeading(s)]; ok {
		return x, nil
	}
	return "", &screen.Fault{Problem: "the sex is not understood", Want: "male or female (also M, F, boy, girl); growth equations and thresholds depend on it"}
}

// readHands reads a throwing hand, or hands with the day from which each holds, as parseHands does.
func readHands(s string) ([]screen.HandSince, *screen.Fault) {
	hands := parseHands(s)
	for i := range hands {
		h, ok := handWordsOf[plainHeading(string(hands[i].Hand))]
		if !ok {
			want := "right, left or both (also R, L, switch)"
			if strings.Contains(s, "/") {
				want = "only the throwing hand: right, left or both"
			}
			return nil, &screen.Fault{Problem: "the throwing hand is not understood", Want: want}
		}
		hands[i].Hand = h
	}
	if len(hands) > maxHands {
		f := tooManyHands("", len(hands))
		return nil, &f
	}
	return hands, nil
}

func readLevel(s string) (screen.Level, *screen.Fault) {
	if l, ok := levelWords[plainHeading(s)]; ok {
		return l, nil
	}
	return "", &screen.Fault{Problem: "the level of play is not understood", Want: "youth, school, college or professional"}
}

func readSport(s string, p *screen.Protocol) (string, *screen.Fault) {
	for i := range p.Sports {
		if strings.EqualFold(p.Sports[i].ID, s) || strings.EqualFold(p.Sports[i].Name, s) {
			return p.Sports[i].ID, nil
		}
	}
	return "", &screen.Fault{Problem: "unknown sport", Want: "one of: " + strings.Join(p.SportIDs(), ", ")}
}

// readPositions splits positions and writes short forms in full where the sport has that position.
func readPositions(s, sport string, p *screen.Protocol) (out []string, short string) {
	known := map[string]bool{}
	if sp := p.Sport(sport); sp != nil {
		for _, x := range sp.Positions {
			known[x] = true
		}
	}
	seen := map[string]bool{}
	for _, x := range strings.FieldsFunc(strings.ToLower(s), func(c rune) bool { return c == ';' || c == '/' || c == ',' }) {
		x = strings.TrimSpace(x)
		if full := positionWords[x]; known[full] {
			short, x = x, full
		}
		if x != "" && !seen[x] {
			seen[x] = true
			out = append(out, x)
		}
	}
	return out, short
}

// size is a height or a mass as it was typed, with what was done to it.
type size struct {
	value     float64 // cm or kg
	converted bool
	unit      bool // the cell names its unit
}

const (
	cmPerInch = 2.54       // exact, since 1959
	kgPerLB   = 0.45359237 // exact, since 1959
)

var (
	feetInches = regexp.MustCompile(`^(\d)\s*(?:'|’|′|ft\.?|feet|foot)\s*(?:(\d{1,2}(?:[.,]\d+)?)\s*(?:"|''|”|″|’’|in\.?|inches)?)?$`)
	feetDash   = regexp.MustCompile(`^(\d)(?:\s*-\s*|\s+)(\d{1,2})$`)
	withUnit   = regexp.MustCompile(`^([-+0-9.,]+)\s*(cm|m|in\.?|inches|inch|"|″|”|kg|kgs|lb|lbs|lb\.|lbs\.|pounds)$`)
	onlyFeet   = regexp.MustCompile(`^\d$`)
)

// unitFactors is how many cm or kg one of a unit is.
var unitFactors = map[string]float64{"cm": 1, "m": 100, "in": cmPerInch, "in.": cmPerInch, "inch": cmPerInch, "inches": cmPerInch, `"`: cmPerInch, "″": cmPerInch, "”": cmPerInch,
	"kg": 1, "kgs": 1, "lb": kgPerLB, "lbs": kgPerLB, "lb.": kgPerLB, "lbs.": kgPerLB, "pounds": kgPerLB}

// factors is what a plain number in a column of this meaning is multiplied with.
var factors = map[Meaning]float64{MeansHeight: 1, MeansHeightCM: 1, MeansHeightM: 100, MeansHeightIn: cmPerInch,
	MeansMass: 1, MeansMassKG: 1, MeansMassLB: kgPerLB}

// leastWithoutUnit is a height in cm below which a number without a unit is more likely in inches:
// 90 inches would be 229 cm, and a child of 90 cm is about two years old.
const leastWithoutUnit = 90

// readSize reads a height or a mass. A unit in the cell counts more than that of the column; a number
// without any is cm or kg, unless that is hardly possible.
func readSize(s string, m Meaning, at cellAt, d *decimals) (size, *screen.Fault) {
	s = strings.ToLower(strings.TrimSpace(s))
	height := m.field() == "height"
	if height {
		if f := feetInches.FindStringSubmatch(s); f != nil {
			return feet(f[1], f[2])
		}
		if f := feetDash.FindStringSubmatch(s); f != nil && m == MeansHeightFt {
			return feet(f[1], f[2])
		}
		if m == MeansHeightFt && onlyFeet.MatchString(s) {
			return feet(s, "")
		}
	}
	factor, known := factors[m]
	unit := false
	if f := withUnit.FindStringSubmatch(s); f != nil {
		isMass := strings.HasPrefix(f[2], "kg") || strings.HasPrefix(f[2], "lb") || f[2] == "pounds"
		if isMass == height {
			return size{}, &screen.Fault{Problem: "the unit does not fit the column", Want: wantSize(m)}
		}
		s, factor, known, unit = f[1], unitFactors[f[2]], true, true
	} else if m == MeansHeight && known {
		if x, _ := plainNumber(s); x != "" {
			if v, err := strconv.ParseFloat(x, 64); err == nil && v > 0 && v < leastWithoutUnit {
				return size{}, &screen.Fault{Problem: "without a unit this would be a height of " + s + " cm", Want: "the unit in the heading or in the cell: cm, in, or 5'10\""}
			}
		}
	}
	if !known {
		return size{}, &screen.Fault{Problem: "this is not feet and inches", Want: wantSize(m)}
	}
	at.value = s
	x, f := d.parse(at)
	if f != nil {
		f.Want = wantSize(m)
		return size{}, f
	}
	if x == 0 {
		return size{}, &screen.Fault{Problem: "0 is no measured value", Want: wantSize(m) + "; or an empty cell"}
	}
	return size{round1(x*factor, factor), factor != 1, unit}, nil
}

// round1 rounds a converted value to a tenth; cm and kg stay as they were typed.
func round1(x, factor float64) float64 {
	if factor == 1 {
		return x
	}
	return math.Round(10*x) / 10
}

func feet(ft, in string) (size, *screen.Fault) {
	f, _ := strconv.ParseFloat(ft, 64)
	i := 0.0
	if in != "" {
		i, _ = strconv.ParseFloat(strings.Replace(in, ",", ".", 1), 64)
	}
	if i >= 12 {
		return size{}, &screen.Fault{Problem: "a foot has 12 inches", Want: wantSize(MeansHeightFt)}
	}
	return size{round1((12*f+i)*cmPerInch, cmPerInch), true, true}, nil
}

func wantSize(m Meaning) string {
	switch {
	case m.field() == "mass":
		return "a mass such as 64 or 64.5, or 141 lb"
	case m == MeansHeightFt:
		return `feet and inches such as 5'10" or 5-10`
	case m == MeansHeightM:
		return "a height such as 1.72"
	case m == MeansHeightIn:
		return "a height such as 68 or 68.5"
	}
	return `a height in cm such as 172.5, or with its unit: 5'8", 68 in`
}
