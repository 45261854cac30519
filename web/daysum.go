package web

import (
	"fmt"
	"strings"

	"evenhand/internal/screen"
)

// daySum is in words what a day asks for.
type daySum struct {
	Stations []stationSum
	Each     string // of one athlete
	All      string // of all
}

// stationSum is what one station takes of each athlete.
type stationSum struct {
	Number   int
	Name     string
	Numbers  string
	Takes    []string
	NotTaken bool // nothing is taken there yet
}

// sum counts; it guesses no minutes.
func (f *dayForm) sum(d *screen.Day) {
	f.Sum = daySum{}
	values, answers := 0, 0
	for i := range d.Stations {
		st := &d.Stations[i]
		x := stationSum{Number: i + 1, Name: st.Name, NotTaken: len(st.Steps) == 0}
		v, a := 0, 0
		for k := range st.Steps {
			dv, da := numbersOf(f.protocol, &st.Steps[k])
			v, a = v+dv, a+da
			x.Takes = append(x.Takes, takesWords(f.protocol, &st.Steps[k]))
		}
		x.Numbers = numbersWords(v, a)
		values, answers = values+v, answers+a
		f.Sum.Stations = append(f.Sum.Stations, x)
	}
	f.Sum.Each = numbersWords(values, answers)
	f.Sum.All = f.allWords(d, values)
}

func takesWords(p *screen.Protocol, st *screen.Step) string {
	name := stepName(p, st)
	if m := p.Measure(st.Measure); m != nil {
		return name + ", " + trialsWords(p.TrialsAt(st), m.Paired)
	}
	return name
}

func numbersWords(values, answers int) string {
	var parts []string
	if values > 0 {
		parts = append(parts, grouped(values)+plural(values, " number", " numbers"))
	}
	if answers > 0 {
		parts = append(parts, count(answers, "answer", "answers"))
	}
	if len(parts) == 0 {
		return "no numbers"
	}
	return strings.Join(parts, " and ")
}

// allWords says what the whole list comes to.
func (f *dayForm) allWords(d *screen.Day, values int) string {
	if f.Members == 0 {
		return ""
	}
	twice := 0
	if d.Every > 0 {
		twice = f.Members / d.Every
	}
	for _, a := range f.Athletes {
		if a.Chosen && (d.Every <= 0 || a.Number%d.Every != 0) {
			twice++
		}
	}
	out := fmt.Sprintf("%s: %s numbers", count(f.Members, "athlete", "athletes"), grouped(values*f.Members))
	if twice > 0 {
		out += fmt.Sprintf(", and %s more from %d who %s measured twice", grouped(values*twice), twice, plural(twice, "is", "are"))
	}
	return out + "."
}
