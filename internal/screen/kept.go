package screen

import "time"

// KeptPrior is what was usual in a team's athletes when a screening day was closed, as it was worked
// out then. Body is JSON; see score.SquadPrior.
type KeptPrior struct {
	ID       string    `json:"id"`
	Team     string    `json:"team"`
	On       Date      `json:"on" doc:"the day of the screens"`
	Protocol string    `json:"protocol" doc:"name and version"`
	Hash     string    `json:"hash"`
	Made     time.Time `json:"made,omitzero"`
	By       string    `json:"by,omitempty"`
	Body     []byte    `json:"-"`
}

// KeptStudy is a retest study as it stood when its errors were kept for scoring. Body is JSON; see
// study.Study. Data is what it was worked out from if it came from a file, as JSON; empty if from the
// records of the days between From and To.
type KeptStudy struct {
	ID       string    `json:"id"`
	Team     string    `json:"team"`
	Name     string    `json:"name"`
	From     Date      `json:"from,omitempty"`
	To       Date      `json:"to,omitempty"`
	Protocol string    `json:"protocol"`
	Hash     string    `json:"hash"`
	Made     time.Time `json:"made,omitzero"`
	By       string    `json:"by,omitempty"`
	Body     []byte    `json:"-"`
	Data     []byte    `json:"-"`
}

// ErrorSwitch says which errors a team's screens are scored with from the moment At on: those of a
// study, or the published ones if Study is empty. Switches are never changed; the last one counts.
type ErrorSwitch struct {
	ID    string    `json:"id"`
	Team  string    `json:"team"`
	Study string    `json:"study,omitempty"`
	At    time.Time `json:"at,omitzero"`
	By    string    `json:"by" doc:"name of who switched"`
	Why   string    `json:"why,omitempty"`
}
