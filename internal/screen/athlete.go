package screen

import "time"

// Sex is what the growth equations and some thresholds ask for.
type Sex string

// The sexes that the published tables distinguish.
const (
	Male   Sex = "male"
	Female Sex = "female"
)

// Valid reports whether s is one of the sexes above.
func (s Sex) Valid() bool { return s == Male || s == Female }

// Hand is the hand an athlete throws with.
type Hand string

// The throwing hands. A switch thrower throws with both: sides are then only compared.
const (
	LeftHand  Hand = "left"
	RightHand Hand = "right"
	BothHands Hand = "both"
)

// Valid reports whether h is one of the hands above.
func (h Hand) Valid() bool { return h == LeftHand || h == RightHand || h == BothHands }

// Level is the level of play.
type Level string

// The levels that the published studies distinguish.
const (
	Youth        Level = "youth"
	School       Level = "school"
	College      Level = "college"
	Professional Level = "professional"
)

// Levels lists the levels from the youngest up.
func Levels() []Level { return []Level{Youth, School, College, Professional} }

// Valid reports whether l is one of the levels above.
func (l Level) Valid() bool {
	return l == Youth || l == School || l == College || l == Professional
}

// Team is a group of athletes that is screened together.
type Team struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"`
	Sport    string    `json:"sport"`
	Revision int       `json:"revision"`
	Changed  time.Time `json:"changed"`
}

// Season is a span of days in which a team trains and plays.
type Season struct {
	ID   string `json:"id"`
	Team string `json:"team"`
	Name string `json:"name"`
	From Date   `json:"from"`
	To   Date   `json:"to"`
}

// HandSince says which hand an athlete throws with from a day on.
type HandSince struct {
	Hand Hand `json:"hand" enum:"left,right,both"`
	From Date `json:"from" doc:"day from which it holds; empty: always"`
}

// Athlete is a person who is screened.
type Athlete struct {
	ID         string      `json:"id"`
	Name       string      `json:"name"`
	Born       Date        `json:"born"`
	Sex        Sex         `json:"sex" enum:"male,female"`
	Hands      []HandSince `json:"hands" doc:"throwing hand, with the day from which it holds"`
	Sport      string      `json:"sport"`
	Positions  []string    `json:"positions,omitempty"`
	Level      Level       `json:"level" enum:"youth,school,college,professional"`
	HeightCM   float64     `json:"height_cm,omitempty" doc:"standing height, cm; 0: not measured"`
	MassKG     float64     `json:"mass_kg,omitempty" doc:"body mass, kg; 0: not measured"`
	ExternalID string      `json:"external_id,omitempty" doc:"the number by which another record knows the athlete"`
	Revision   int         `json:"revision"`
	Changed    time.Time   `json:"changed"`
}

// HandOn is the hand that a throws with on the day given: the latest entry that holds by then, or
// the first known one for a day before all of them. The empty Hand if none is known.
func (a *Athlete) HandOn(on Date) Hand {
	var best HandSince
	for _, h := range a.Hands {
		if h.From <= on && (best.Hand == "" || h.From >= best.From) {
			best = h
		}
	}
	if best.Hand != "" {
		return best.Hand
	}
	for _, h := range a.Hands {
		if best.Hand == "" || h.From < best.From {
			best = h
		}
	}
	return best.Hand
}

// Membership says that an athlete belongs to a team in a season; an empty To means "still".
type Membership struct {
	ID      string `json:"id"`
	Team    string `json:"team"`
	Season  string `json:"season,omitempty"`
	Athlete string `json:"athlete"`
	From    Date   `json:"from,omitempty"`
	To      Date   `json:"to,omitempty"`
}
