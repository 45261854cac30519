package api

import (
	"context"
	"net/http"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// dayForm is a screening day as a client sends it.
type dayForm struct {
	ID        string        `json:"id,omitempty"`
	Team      string        `json:"team"`
	On        string        `json:"on" doc:"the day, as 2026-02-10"`
	Kind      string        `json:"kind" enum:"preseason,in_season,rehab"`
	SideOrder string        `json:"side_order" enum:"throwing_first,left_first,right_first"`
	Every     int           `json:"every,omitempty" doc:"every nth athlete is measured twice; 0: none by number"`
	Twice     []string      `json:"twice,omitempty" nullable:"false" doc:"athletes who are measured twice besides; absent: as it was"`
	Stations  []stationForm `json:"stations" nullable:"false"`
	Closed    time.Time     `json:"closed,omitzero" doc:"not read: see closing"`
	Revision  int           `json:"revision,omitempty" doc:"not read: what was read may be sent back as it is"`
	Changed   time.Time     `json:"changed,omitzero" doc:"not read"`
}

type stationForm struct {
	Code  string     `json:"code,omitempty" doc:"absent: made here"`
	Name  string     `json:"name"`
	Steps []stepForm `json:"steps" nullable:"false"`
}

type stepForm struct {
	Kind    string `json:"kind" enum:"check_in,measure,checklist"`
	Measure string `json:"measure,omitempty"`
	Trials  int    `json:"trials,omitempty" doc:"on each side; 0: as the protocol plans"`
}

func (f *dayForm) day(id string) screen.Day {
	d := screen.Day{ID: id, Team: f.Team, On: screen.Date(f.On), Kind: screen.Kind(f.Kind), SideOrder: screen.SideOrder(f.SideOrder), Every: f.Every}
	for _, s := range f.Stations {
		st := screen.Station{Code: s.Code, Name: s.Name}
		for _, x := range s.Steps {
			st.Steps = append(st.Steps, screen.Step{Kind: screen.StepKind(x.Kind), Measure: x.Measure, Trials: x.Trials})
		}
		d.Stations = append(d.Stations, st)
	}
	return d
}

// DayPath names a screening day.
type DayPath struct {
	Day string `path:"day"`
}

// listedAthlete is an athlete on the list of a day.
type listedAthlete struct {
	screen.Participant
	Name string      `json:"name"`
	Hand screen.Hand `json:"hand" enum:"left,right,both" doc:"throwing hand on the day"`
}

type dayAnswer struct {
	screen.Day
	TeamName string          `json:"team_name"`
	Athletes []listedAthlete `json:"athletes" nullable:"false" doc:"by number"`
}

func (s *server) days() {
	add(s, route{method: http.MethodGet, path: "/teams/{team}/days", id: "list-days", tag: "days", summary: "Screening days of a team, the newest first",
		places: pagePlaces}, s.listDays)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/days/plan", id: "plan-day", tag: "days", summary: "A new screening day as the protocol proposes it",
		text: "It is not on record: change it, then send it to its address."}, s.planDay)
	add(s, route{method: http.MethodGet, path: "/days/{day}", id: "get-day", tag: "days", summary: "A screening day with its list", conditional: true}, s.getDay)
	add(s, route{method: http.MethodPut, path: "/days/{day}", id: "put-day", tag: "days", summary: "Set up a screening day or change it",
		text: "The list of a new day is the team's members on that date, numbered by name.", created: true, errors: editErrors, places: []place{{"id", "path.day"}}}, s.putDay)
	add(s, route{method: http.MethodPost, path: "/days/{day}/closing", id: "close-day", tag: "days", summary: "Close a screening day, or open it again",
		text: "Entries that come in for a closed day are taken and marked late.", errors: editErrors}, s.closeDay)
	add(s, route{method: http.MethodPost, path: "/days/{day}/stations/{code}/renewal", id: "renew-station", tag: "days", summary: "Give a station a new link",
		text: "The old link leads nowhere from then on, also for what a device still keeps.", errors: editErrors}, s.renewStation)
	add(s, route{method: http.MethodPost, path: "/days/{day}/athletes", id: "add-to-day", tag: "days", summary: "Put members of the team on the list of a day"}, s.addToDay)
	add(s, route{method: http.MethodPut, path: "/days/{day}/walk-ons/{athlete}", id: "put-walk-on", tag: "days", summary: "Put somebody on the list who may not be on record",
		text: "Whoever has that name and birth date is found; the id in the address is that of a new athlete."}, s.putWalkOn)
	add(s, route{method: http.MethodPost, path: "/days/{day}/releases", id: "release", tag: "days", summary: "Lift an athlete's hold",
		text: "The referral signs of the day are taken back with the reason. A licensed clinician decides that."}, s.release)
	add(s, route{method: http.MethodGet, path: "/days/{day}/events", id: "watch-day", tag: "days", summary: "Tells of every change of a screening day",
		text: "A stream of server-sent events named changed.", responses: eventStream(), places: nil}, s.watchDay)
	s.stations()
}

func (s *server) listDays(ctx context.Context, in *struct {
	TeamPath
	Paged
},
) (*listing[screen.Day], error) {
	items, next, err := s.clinic.Days(ctx, person(ctx), in.Team, in.page())
	if err != nil {
		return nil, err
	}
	return listOf(items, next), nil
}

func (s *server) planDay(ctx context.Context, in *TeamPath) (*struct{ Body screen.Day }, error) {
	d, err := s.clinic.PlanDay(ctx, person(ctx), in.Team)
	return &struct{ Body screen.Day }{d}, err
}

func (s *server) getDay(ctx context.Context, in *struct {
	DayPath
	Cached
},
) (*one[dayAnswer], error) {
	v, err := s.clinic.Day(ctx, person(ctx), in.Day)
	if err != nil {
		return nil, err
	}
	out := dayAnswer{Day: v.Day, TeamName: v.Team.Name, Athletes: make([]listedAthlete, len(v.Athletes))}
	for i := range v.Athletes {
		a := &v.Athletes[i]
		out.Athletes[i] = listedAthlete{a.Participant, a.Person.Name, a.Hand}
	}
	tag := etag(v.Day.Revision)
	return &one[dayAnswer]{tag, out}, in.unless(tag)
}

func (s *server) putDay(ctx context.Context, in *struct {
	DayPath
	Edit
	Body dayForm
},
) (*written[screen.Day], error) {
	if err := sameID(in.Body.ID, in.Day); err != nil {
		return nil, err
	}
	status, out, err := put(ctx, &in.Edit, func(ctx context.Context) error {
		_, err := s.clinic.Day(ctx, person(ctx), in.Day)
		return err
	}, func(ctx context.Context, rev int) (screen.Day, error) {
		out, err := s.clinic.PutDay(ctx, person(ctx), in.Body.day(in.Day), in.Body.Twice, rev)
		return out, referring(rev, err)
	})
	if err != nil {
		return nil, err
	}
	return &written[screen.Day]{Status: status, ETag: etag(out.Revision), Body: out}, nil
}

func (s *server) closeDay(ctx context.Context, in *struct {
	DayPath
	IfMatch string `header:"If-Match" doc:"ETag of the day; absent: whatever its version"`
	Body    struct {
		Closed bool `json:"closed" doc:"false: open it again"`
	}
},
) (*written[screen.Day], error) {
	rev, err := s.dayRevision(ctx, in.Day, in.IfMatch)
	if err != nil {
		return nil, err
	}
	d, err := s.clinic.CloseDay(ctx, person(ctx), in.Day, in.Body.Closed, rev)
	return &written[screen.Day]{Status: http.StatusOK, ETag: etag(d.Revision), Body: d}, err
}

func (s *server) renewStation(ctx context.Context, in *struct {
	DayPath
	Code    string `path:"code"`
	IfMatch string `header:"If-Match" doc:"ETag of the day; absent: whatever its version"`
},
) (*written[screen.Day], error) {
	rev, err := s.dayRevision(ctx, in.Day, in.IfMatch)
	if err != nil {
		return nil, err
	}
	d, err := s.clinic.RenewStation(ctx, person(ctx), in.Day, in.Code, rev)
	return &written[screen.Day]{Status: http.StatusOK, ETag: etag(d.Revision), Body: d}, err
}

// dayRevision is the version of a day that a client names, or the current one if it names none.
func (s *server) dayRevision(ctx context.Context, day, ifMatch string) (int, error) {
	rev, err := (&Edit{IfMatch: ifMatch}).revision()
	if err != nil || rev != 0 {
		return rev, err
	}
	v, err := s.clinic.Day(ctx, person(ctx), day)
	return v.Day.Revision, err
}

func (s *server) addToDay(ctx context.Context, in *struct {
	DayPath
	Body struct {
		Athletes []string `json:"athletes" nullable:"false"`
	}
},
) (*struct{}, error) {
	return nil, s.clinic.AddToDay(ctx, person(ctx), in.Day, in.Body.Athletes)
}

func (s *server) putWalkOn(ctx context.Context, in *struct {
	DayPath
	Athlete string `path:"athlete"`
	Body    clinic.WalkOn
},
) (*struct{ Body screen.Participant }, error) {
	p, err := s.clinic.WalkOn(ctx, person(ctx), in.Day, in.Athlete, in.Body)
	return &struct{ Body screen.Participant }{p}, err
}

func (s *server) release(ctx context.Context, in *struct {
	DayPath
	Body struct {
		Athlete string `json:"athlete"`
		Why     string `json:"why" doc:"who looked at the athlete, and why the sign does not hold"`
	}
},
) (*struct{}, error) {
	return nil, s.clinic.Release(ctx, person(ctx), in.Day, in.Body.Athlete, in.Body.Why)
}
