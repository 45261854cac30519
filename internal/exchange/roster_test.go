package exchange

import (
	"reflect"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

const sampleRoster = `Name;Born;Sex;Throws;Sport;Level;Positions;Height cm;external_id
Kim Tandrel;2011-04-02;female;left;baseball;youth;Pitcher/infielder;151,5;
Bo Quillmere;2009-01-02;male;both;softball;school;;;'-17
`

func readRoster(t *testing.T, in string) (*Document, error) {
	t.Helper()
	return ReadRoster(strings.NewReader(in), protocol(t), Options{Today: today})
}

func TestReadRoster(t *testing.T) {
	d, err := readRoster(t, sampleRoster)
	if err != nil {
		t.Fatal(err)
	}
	kim, bo := d.Athletes[0], d.Athletes[1]
	if !reflect.DeepEqual(kim.Positions, []string{"pitcher", "infielder"}) || kim.HeightCM != 151.5 || kim.HandOn(today) != screen.LeftHand {
		t.Errorf("%+v", kim)
	}
	if bo.ExternalID != "-17" || bo.ID != derivedID("athlete", "external_id", "-17") || bo.HandOn(today) != screen.BothHands {
		t.Errorf("%+v", bo)
	}
	if !hasNote(d.Notes, "decimal comma") {
		t.Errorf("notes %q", d.Notes)
	}
	again, err := readRoster(t, sampleRoster)
	if err != nil || !reflect.DeepEqual(d, again) {
		t.Error("the same roster twice differs")
	}
}

func TestBadRoster(t *testing.T) {
	kim := "Kim Tandrel;2011-04-02;female;left;baseball;youth;Pitcher/infielder;151,5;\n"
	for _, c := range []struct{ old, new, where, says string }{
		{"2011-04-02", "2026-04-02", "row 2, column born", "future"},
		{"2009-01-02", "1886-01-02", "row 3, column born", "140 years old"},
		{"2009-01-02", "1916-01-02", "row 3, column born", "110 years"},
		{";female;", ";f;", "row 2, column sex", "male or female"},
		{";both;", ";;", "row 3, column throws", "missing"},
		{"softball", "sofball", "row 3, column sport", "unknown sport"},
		{";school;", ";high;", "row 3, column level", "unknown level"},
		{"151,5", "15", "row 2, column height_cm", "out of range"},
		{"151,5", "tall", "row 2, column height_cm", "not a number"},
		{"Kim Tandrel", "", "row 2, column name", "missing"},
		{";Sex;", ";Gender;", "row 1, column Gender", "unknown column"},
		{kim, kim + kim, "row 3, column name", "row 2"},
		{";external_id\n" + kim, ";id\n" + strings.Replace(kim, "151,5;", "151,5;kim 1", 1), "row 2, column id", "not an id"},
	} {
		if !strings.Contains(sampleRoster, c.old) {
			t.Fatalf("the sample does not contain %q", c.old)
		}
		d, err := readRoster(t, strings.Replace(sampleRoster, c.old, c.new, 1))
		if d != nil {
			t.Errorf("%q: a faulty roster was handed out", c.new)
		}
		wantFault(t, err, c.where, c.says)
	}
	d, err := readRoster(t, "name,born,sex,throws,sport,level\n")
	if err != nil || !hasNote(d.Notes, "no rows") {
		t.Errorf("%+v %v", d, err)
	}
}

// A number is one athlete's within a team, and may be another's in another team.
func TestNumbersCountWithinATeam(t *testing.T) {
	ids := map[string]bool{}
	for _, team := range []string{"t1", "t2", "t1"} {
		d, err := ReadRoster(strings.NewReader(sampleRoster), protocol(t), Options{Today: today, Team: team})
		if err != nil {
			t.Fatal(err)
		}
		ids[d.Athletes[1].ID] = true
	}
	if len(ids) != 2 {
		t.Errorf("%d ids for one number in two teams, read three times", len(ids))
	}
}
