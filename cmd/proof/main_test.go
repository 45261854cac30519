package main

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"evenhand/internal/proof"
	"evenhand/internal/screen"
)

const docs = "../../docs/"

// docs/proof.md is what make proof writes: the cheapest row, made anew, stands in it, with the protocol,
// the draws and the seeds as they are. If this fails, run make proof.
func TestDocumentIsUpToDate(t *testing.T) {
	page, err := os.ReadFile(docs + "proof.md")
	if err != nil {
		t.Fatal(err)
	}
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	every := proof.Rhythms[1]
	r := &proof.Results{Trends: []*proof.TrendResult{proof.SimulateTrend(p, every.Setting(every.Paths()[1], 0, 0), proof.ForTrend)}}
	for _, want := range []string{p.NameAndVersion(), simulated(), trendRows(r)[0]} {
		if !strings.Contains(string(page), want) {
			t.Errorf("docs/proof.md lacks %q", want)
		}
	}
}

// The figures that the document shows are there, and are well-formed.
func TestFigures(t *testing.T) {
	for _, name := range []string{"proof-calibration.svg", "proof-verdicts.svg", "proof-trend.svg"} {
		f, err := os.Open(docs + name)
		if err != nil {
			t.Fatal(err)
		}
		texts := 0
		d := xml.NewDecoder(f)
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(name, err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "text" {
				texts++
			}
		}
		if err := f.Close(); err != nil || texts < 10 {
			t.Errorf("%s: %d texts, %v", name, texts, err)
		}
	}
}

func TestText(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{many(1234567), "1,234,567"}, {many(12), "12"}, {num(1, -5), "−5.0"}, {num(1, -0.04), "0.0"}, {percent(1, 0), "–"}, {percent(1, 3), "33.3"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
	var s span
	s.see(1, 10, 1)
	s.see(5, 10, 1)
	s.see(9, 10, 11) // too few
	if s.String() != "10.0 to 50.0 %" || !inside(&s, 10, 50) || inside(&s, 11, 50) {
		t.Error(s.String())
	}
}
