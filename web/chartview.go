package web

import "evenhand/internal/chart"

// chartView is a chart on a page: where its option comes from, and the words and numbers that stand
// for it, which are part of the page itself.
type chartView struct {
	URL     string
	Title   string
	Summary string
	Height  int
	Table   chart.Table
	Said    bool // the page says the summary elsewhere
	Fold    bool // the table is long: folded away once the picture is drawn
}

func view(url string, c chart.Chart) *chartView {
	return &chartView{URL: url, Title: c.Title, Summary: c.Summary, Height: c.Height, Table: c.Table}
}
