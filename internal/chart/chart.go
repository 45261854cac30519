package chart

// The palette. No other colour occurs in an option, but "transparent".
const (
	Ink      = "#1b1f24"
	Paper    = "#ffffff"
	Throwing = "#0b5cad" // the throwing side
	Other    = "#b3541e" // the other side
	Target   = "#6b3fa0" // targets and baselines
	Notes    = "#5b6470" // scales, limits and what is usual
)

// Palette lists the colours of an option, for exchanging them in another theme.
func Palette() []string { return []string{Ink, Paper, Throwing, Other, Target, Notes} }

// Chart is a picture with the words and the numbers that stand for it.
type Chart struct {
	Title   string         `json:"title"`
	Summary string         `json:"summary" doc:"one sentence that says what the picture shows: its alternative text"`
	Option  map[string]any `json:"option" doc:"option of the drawing script, plain JSON"`
	Table   Table          `json:"table"`
	Height  int            `json:"height" doc:"height that the picture needs, in CSS pixels, at any width"`
}

// Table holds the numbers of a chart. Every row has as many cells as there are columns.
type Table struct {
	Caption string     `json:"caption"`
	Columns []string   `json:"columns"`
	Rows    [][]string `json:"rows"`
}

const (
	font     = "system-ui, sans-serif"
	fontSize = 13
	small    = 12
	// z90 makes a standard error the half width of an interval that holds the true value 90 times in 100.
	z90 = 1.645
	// z95 is the "give or take" of sentences, as score.Sentence has it.
	z95 = 1.96
)
