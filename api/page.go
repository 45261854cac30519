package api

import "evenhand/internal/clinic"

// Paged is the input of lists that are read part by part.
type Paged struct {
	After string `query:"after" doc:"the next of the part before; without it the list begins"`
	Limit int    `query:"limit" minimum:"1" maximum:"500" default:"50" doc:"how many at most"`
}

func (p *Paged) page() clinic.Page { return clinic.Page{After: p.After, Limit: p.Limit} }

// listing is an answer with part of a list, or all of it.
type listing[T any] struct {
	ETag string `header:"ETag"`
	Body part[T]
}

type part[T any] struct {
	Items []T    `json:"items" nullable:"false"`
	Next  string `json:"next,omitempty" doc:"mark for ?after= of the next part; absent: the list ends here"`
}

func listOf[T any](items []T, next string) *listing[T] {
	if items == nil {
		items = []T{}
	}
	return &listing[T]{Body: part[T]{items, next}}
}

// pagePlaces: what a use case finds wrong with a part of a list is its mark.
var pagePlaces = []place{{"", "query.after"}}

// clip shortens a value that is shown in a fault, between runes.
func clip(s string) string {
	const most = 80
	for i := range s {
		if i >= most {
			return s[:i] + "…"
		}
	}
	return s
}
