package web

import (
	"regexp"
	"strconv"

	"evenhand/internal/screen"
)

// stationPlaces are the fields that a station of a day came from.
type stationPlaces struct {
	number int // of the station in the form, from 1
	rows   []*takeRow
}

type dayPlaces []stationPlaces

var stationFault = regexp.MustCompile(`stations\[(\d+)\](?:\.steps\[(\d+)\])?(?:\.(\w+))?$`)

// place puts each fault at the field that it came from.
func (f *dayForm) place(faults []screen.Fault, at dayPlaces) {
	for _, x := range faults {
		field, place := f.fieldOf(x.Where, at)
		text := upperFirst(x.Problem)
		if x.Want != "" {
			text += ". Right would be: " + x.Want
		}
		f.tell(field, place, text+".")
	}
}

func (f *dayForm) fieldOf(where string, at dayPlaces) (field, place string) {
	m := stationFault.FindStringSubmatch(where)
	if m == nil {
		return plainField(where)
	}
	i, _ := strconv.Atoi(m[1])
	if i >= len(at) {
		return plainField(where)
	}
	number := strconv.Itoa(at[i].number)
	field, place = "name-"+number, "Station "+number
	k, err := strconv.Atoi(m[2])
	if err != nil || k >= len(at[i].rows) {
		return field, place
	}
	row := at[i].rows[k]
	if m[3] == "trials" {
		return "trials-" + row.Key, place + ", " + row.Name
	}
	return "at-" + row.Key, place + ", " + row.Name
}

// plainField is the field of a fault that belongs to the day itself.
func plainField(where string) (field, place string) {
	for _, x := range []labelled{{Label: "on", Value: "Date"}, {Label: "kind", Value: "Occasion"}, {Label: "side_order", Value: "Side order"},
		{Label: "every", Value: "Measured twice"}} {
		if where == x.Label {
			return x.Label, x.Value
		}
	}
	return "stations", "Stations"
}

// tell notes a fault at a field.
func (f *dayForm) tell(field, place, text string) {
	f.Told = append(f.Told, toldFault{field, place, text})
	if f.faults[field] != "" {
		text = f.faults[field] + " " + text
	}
	f.faults[field] = text
}
