package gate

import (
	"slices"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// About finds out whose records something is about, on a day. All of the subjects must be allowed; the
// first one goes into the audit.
type About func(tx *store.Tx, today screen.Date) ([]access.Subject, error)

// kinds are the names that the store gives to what is called otherwise in the audit.
var kinds = map[string]string{"day": "screening day", "study": "retest study"}

// missing is the problem that the store has with a record that is not there.
func missing(kind string) *screen.Problem {
	if name := kinds[kind]; name != "" {
		kind = name
	}
	return &screen.Problem{Code: screen.NotFound, Text: "there is no such " + kind}
}

// Programme is all teams together.
func Programme() About {
	return func(*store.Tx, screen.Date) ([]access.Subject, error) {
		return []access.Subject{{Kind: "programme", Every: true}}, nil
	}
}

// Team is a team. Whether it is on record is left to the use case: somebody for every team is told so.
func Team(id string) About {
	return func(*store.Tx, screen.Date) ([]access.Subject, error) {
		return []access.Subject{{Kind: "team", ID: id, Teams: []string{id}}}, nil
	}
}

// Athlete is an athlete, looked after by the people of the teams named by store.TeamsOf.
func Athlete(id string) About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		s, err := athlete(tx, id, today)
		return []access.Subject{s}, err
	}
}

// KnownAthlete is an athlete who may be new: one who is not on record, or belongs to no team yet, is
// nobody's.
func KnownAthlete(id string) About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		s, err := athlete(tx, id, today)
		if err != nil || len(s.Teams) == 0 {
			return nil, err
		}
		return []access.Subject{s}, nil
	}
}

// Made is a record that is made for a team.
func Made(kind, id, team string) About {
	return func(*store.Tx, screen.Date) ([]access.Subject, error) {
		return []access.Subject{{Kind: kind, ID: id, Teams: []string{team}}}, nil
	}
}

func athlete(tx *store.Tx, id string, today screen.Date) (access.Subject, error) {
	teams, err := tx.TeamsOf(id, today)
	return access.Subject{Kind: "athlete", ID: id, Teams: teams, Athlete: id}, err
}

// Screen is a screen: of the team that made it, and of those who look after its athlete.
func Screen(id string) About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		s, err := tx.Screen(id)
		if err != nil {
			return []access.Subject{{Kind: "screen", ID: id}}, err
		}
		out, err := athlete(tx, s.Athlete, today)
		if out.Kind, out.ID = "screen", id; !slices.Contains(out.Teams, s.Team) {
			out.Teams = append(out.Teams, s.Team)
		}
		return []access.Subject{out}, err
	}
}

// Reading is a reading, and so the screen that it belongs to.
func Reading(id string) About {
	return ofScreen("reading", id, func(tx *store.Tx) (string, error) {
		r, err := tx.Reading(id)
		return r.Screen, err
	})
}

// Symptom is a symptom, and so the screen that it belongs to.
func Symptom(id string) About {
	return ofScreen("symptom", id, func(tx *store.Tx) (string, error) {
		s, err := tx.Symptom(id)
		return s.Screen, err
	})
}

func ofScreen(kind, id string, screenOf func(*store.Tx) (string, error)) About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		at, err := screenOf(tx)
		if err != nil {
			return []access.Subject{{Kind: kind, ID: id}}, err
		}
		out, err := Screen(at)(tx, today)
		out[0].Kind, out[0].ID = kind, id
		return out, err
	}
}

// Event is an event of an athlete.
func Event(id string) About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		e, err := tx.Event(id)
		if err != nil {
			return []access.Subject{{Kind: "event", ID: id}}, err
		}
		s, err := athlete(tx, e.Athlete, today)
		s.Kind, s.ID = "event", id
		return []access.Subject{s}, err
	}
}

// Day is a screening day of a team.
func Day(id string) About {
	return func(tx *store.Tx, _ screen.Date) ([]access.Subject, error) {
		d, err := tx.Day(id)
		s := access.Subject{Kind: "day", ID: id}
		if err == nil {
			s.Teams = []string{d.Team}
		}
		return []access.Subject{s}, err
	}
}

// stationDays is for how long after its day a station's link works: a tablet that was without network
// sends what it kept when it comes back.
const stationDays = 14

// Station is a station of a day by the code that its link ends in. The code is a secret: the audit
// names the day. The link works until so many days after the day; who has a role needs no link.
func Station(code string) About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		d, err := tx.DayByStation(code)
		s := access.Subject{Kind: "station"}
		if err == nil {
			s.ID, s.Teams = d.ID, []string{d.Team}
			if today <= d.On.AddDays(stationDays) {
				s.Station = code
			}
		}
		return []access.Subject{s}, err
	}
}

// Study is a retest study that was kept for a team.
func Study(id string) About {
	return func(tx *store.Tx, _ screen.Date) ([]access.Subject, error) {
		k, err := tx.Study(id)
		s := access.Subject{Kind: "study", ID: id}
		if err == nil {
			s.Teams = []string{k.Team}
		}
		return []access.Subject{s}, err
	}
}

// All of several subjects must be allowed.
func All(list ...About) About {
	return func(tx *store.Tx, today screen.Date) (out []access.Subject, err error) {
		for _, about := range list {
			s, err := about(tx, today)
			out = append(out, s...)
			if err != nil {
				return out, err
			}
		}
		return out, nil
	}
}

// If is about only if there is one: a record that is made has nobody yet.
func If(there bool, about About) About {
	if there {
		return about
	}
	return func(*store.Tx, screen.Date) ([]access.Subject, error) { return nil, nil }
}
