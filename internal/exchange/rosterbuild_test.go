package exchange

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

func textTable(t testing.TB, text string) *RosterTable {
	t.Helper()
	return readTable(t, []byte(text))
}

func build(t testing.TB, table *RosterTable, change func(*RosterSettings)) *RosterResult {
	t.Helper()
	s := RosterSettings{Means: Recognise(table.Headings), Sport: "baseball", Level: screen.Youth}
	if change != nil {
		change(&s)
	}
	return BuildRoster(table, s, protocol(t), today)
}

// The headings are such as rosters have; what they mean is our own reading of them.
func TestRecognise(t *testing.T) {
	for heading, want := range map[string]Meaning{
		"Full Name": MeansName, "ATHLETE": MeansName, "First name": MeansFirst, "Surname": MeansLast, "D.O.B.": MeansBorn, "Date of Birth": MeansBorn, "birth-date": MeansBorn,
		"Gender": MeansSex, "M/F": MeansSex, "Throws": MeansThrows, "Throwing hand": MeansThrows, "Throws (R/L)": MeansThrows, "Hand": MeansThrows, "Sport": MeansSport,
		"Level of play": MeansLevel, "Position(s)": MeansPosition, "Pos.": MeansPosition, "#": MeansNumber, "No.": MeansNumber, "external_id": MeansNumber,
		"height_cm": MeansHeightCM, "Height (in)": MeansHeightIn, "Height, in inches": MeansHeightIn, "Ht": MeansHeight, "Height ft/in": MeansHeightFt, "Height (m)": MeansHeightM,
		"Weight lbs": MeansMassLB, "mass_kg": MeansMassKG, "Weight": MeansMass,
		"Bats/Throws": "", "B/T": "", "Grade": "", "Age": "", "Jersey number": "", "Parent name": "", "": "", "Year": "", "<b>Name</b>": "",
	} {
		if got, _ := meaningOf(heading); got != want {
			t.Errorf("%q: %q, want %q", heading, got, want)
		}
	}
	got := Recognise([]string{"Name", "First", "Last", "Height cm", "Height in", "Throws", "Hand"})
	if want := []Meaning{MeansName, "", "", MeansHeightCM, "", MeansThrows, ""}; !reflect.DeepEqual(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	for _, x := range []struct {
		heading string
		m       Meaning
		want    string
	}{
		{"Bats/Throws", "", "it may hold the batting hand"}, {"Hair", "", "not recognised"}, {"Sex", MeansSex, "recognised by its heading"},
		{"Sex", "", "by its heading it would be the sex"}, {"Who", MeansName, "as you said"}, {"Bats/Throws", MeansThrows, "as you said"},
	} {
		if n := ColumnNote(x.heading, x.m); !strings.Contains(n, x.want) {
			t.Errorf("%s as %q: %q", x.heading, x.m, n)
		}
	}
}

// Separators and encodings are those of the other CSV files, also below a title.
func TestRosterTexts(t *testing.T) {
	for name, text := range map[string]string{
		"comma": "Name,DOB,Note\nJosé Tandrel,2011-04-02,x\n", "semicolon": "\ufeffName;DOB;Note\r\nJosé Tandrel;2011-04-02;x\r\n",
		"tab": "Name\tDOB\tNote\nJosé  Tandrel \t2011-04-02\tx", "title": "Squad, spring\n\nName;DOB;Note\nJosé Tandrel;2011-04-02;x\n",
		"old encoding": "Name;DOB;Note\nJos\xe9 Tandrel;2011-04-02;x\n", "quotes": "Name,DOB,Note\n\"José\nTandrel\",2011-04-02,x,,\n",
	} {
		table := textTable(t, text)
		if want := []string{"José Tandrel", "2011-04-02", "x"}; len(table.Rows) != 1 || !reflect.DeepEqual(table.Rows[0].Cells, want) {
			t.Errorf("%s: %+v", name, table)
		}
	}
	for name, x := range map[string][2]string{"empty": {" \n\n", "nothing in it"}, "quotes": {"Name,DOB\n\"Kim\"x,2011\nBo,2010", "quotes"}, "open quote": {"Name,DOB\n\"Kim,2011\nBo,2010", "quotes"}, "binary": {"\x00\x01", "plain text"}} {
		if _, err := ReadRosterFile(strings.NewReader(x[0]), Options{Today: today}); err == nil || !strings.Contains(err.Error(), x[1]) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ReadRosterFile(strings.NewReader("Name,DOB\n"+strings.Repeat("a,b\n", 100)), Options{Today: today, MaxBytes: 500}); err == nil || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("with its row numbers the table is too large to come back: %v", err)
	}
	wide := textTable(t, "Name,DOB,Height\nKim,2011-04-02,151,5\n")
	if want := []CellMark{{3, TooWide}}; !reflect.DeepEqual(wide.Rows[0].Marks, want) {
		t.Errorf("%+v", wide)
	}
}

func TestBuildRoster(t *testing.T) {
	table := textTable(t, "First name\tLast name\tDOB\tGender\tHand\tPos\tHeight\tWeight\tNo\tBats/Throws\n"+
		"Kim\tTandrel\t2011-04-02\tgirl\tL\tP/1B\t5'10\"\t100 lb\t17\tR/L\n"+
		"Bo\tQuillmere\t25/3/2010\tM\tswitch\tshortstop\t151,5\t\t\t\n"+
		"=1+1\t<b>\t3/5/2012\tMale\tright from 2025-01-01; left\t\t60 in\t41\t@x\t\n")
	got := build(t, table, nil)
	if len(got.Faults) > 0 || got.Dates.Order != DayFirst || got.Dates.Ask {
		t.Fatalf("%+v", got)
	}
	// 5 ft 10 in = 70 in = 177.8 cm; 100 lb = 45.359 kg; 60 in = 152.4 cm.
	want := []screen.Athlete{
		{Name: "Kim Tandrel", Born: "2011-04-02", Sex: screen.Female, Hands: []screen.HandSince{{Hand: screen.LeftHand}}, Positions: []string{"pitcher", "infielder"}, HeightCM: 177.8, MassKG: 45.4, ExternalID: "17"},
		{Name: "Bo Quillmere", Born: "2010-03-25", Sex: screen.Male, Hands: []screen.HandSince{{Hand: screen.BothHands}}, Positions: []string{"shortstop"}, HeightCM: 151.5},
		{Name: "=1+1 <b>", Born: "2012-05-03", Sex: screen.Male, Hands: []screen.HandSince{{Hand: screen.RightHand, From: "2025-01-01"}, {Hand: screen.LeftHand}}, HeightCM: 152.4, MassKG: 41, ExternalID: "@x"},
	}
	for i := range want {
		want[i].Sport, want[i].Level = "baseball", screen.Youth
		if r := got.Rows[i]; !reflect.DeepEqual(r.Athlete, want[i]) || len(r.Faults) > 0 || r.Row != i+2 {
			t.Errorf("row %d: %+v %v\nwant %+v", r.Row, r.Athlete, r.Faults, want[i])
		}
	}
	for _, n := range []string{"day/month/year: row 3 has 25/3/2010", "Heights were converted to cm in 2 rows", "100 lb in row 2 is read as 45.4 kg", `5'10" in row 2 is read as 177.8 cm`, "without a unit were read as cm", "without a unit were read as kg", "Short forms of positions", "decimal comma"} {
		if !hasNote(got.Notes, n) {
			t.Errorf("%q is missing in %q", n, got.Notes)
		}
	}
}

// What is exported of a name that looks like a formula is protected; see also csv_test.go.
func TestFormulaNamesAreEscapedInExport(t *testing.T) {
	table := textTable(t, "Name,DOB,Sex,Throws\n=cmd(),2011-04-02,F,L\n+1,2011-04-02,F,L\n-1,2011-04-02,F,L\n@SUM,2011-04-02,F,L\n")
	doc := &Document{}
	for i, r := range build(t, table, nil).Rows {
		if len(r.Faults) > 0 {
			t.Fatal(r.Faults)
		}
		r.Athlete.ID = "a" + string(rune('0'+i))
		rec := screen.Record{Screen: screen.Screen{ID: "s" + r.Athlete.ID, Athlete: r.Athlete.ID, On: "2026-02-10", Kind: screen.Preseason}, Athlete: r.Athlete}
		rec.Readings = []screen.Reading{{ID: "r" + r.Athlete.ID, Screen: rec.Screen.ID, Measure: "grip_strength", Side: screen.Left, Trials: []float64{30}}}
		doc.Records = append(doc.Records, rec)
	}
	var b bytes.Buffer
	if err := WriteReadingsCSV(&b, protocol(t), doc); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{",'=cmd(),", ",'+1,", ",'-1,", ",'@SUM,"} {
		if !strings.Contains(b.String(), name) {
			t.Errorf("%s is missing in\n%s", name, b.String())
		}
	}
}

// The order of day and month is decided by the column or by a person, never by habit.
func TestDateOrders(t *testing.T) {
	for name, x := range map[string]struct {
		cells string
		said  DateOrder
		ask   bool
		want  string // days, "-" for a fault
	}{
		"day first":         {"25/3/2010 3/5/2012", "", false, "2010-03-25 2012-05-03"},
		"month first":       {"3/25/2010 3/5/2012", "", false, "2010-03-25 2012-03-05"},
		"points":            {"25.3.2010 3.5.2012", "", false, "2010-03-25 2012-05-03"},
		"ambiguous":         {"3.5.2012 4-6-2011", "", true, "- -"},
		"said day":          {"3.5.2012 4-6-2011", DayFirst, false, "2012-05-03 2011-06-04"},
		"said month":        {"3.5.2012 4-6-2011", MonthFirst, false, "2012-03-05 2011-04-06"},
		"no matter":         {"5/5/2012 2011-04-02", "", false, "2012-05-05 2011-04-02"},
		"mixed":             {"25/3/2010 3/25/2010", "", true, "- -"},
		"mixed, said":       {"25/3/2010 3/25/2010", DayFirst, false, "2010-03-25 -"},
		"said against":      {"25/3/2010 3/5/2012", MonthFirst, false, "- 2012-03-05"},
		"year first":        {"2012/05/03 2012.5.3", "", false, "2012-05-03 2012-05-03"},
		"month in words":    {"3-May-2012 May-3-2012 3.sept.2012", "", false, "2012-05-03 2012-05-03 2012-09-03"},
		"with a time":       {"2012-05-03T00:00:00 2012-05-03T10:00Z", "", false, "2012-05-03 2012-05-03"},
		"no such day":       {"31/2/2012 2012-02-30 0/0/2012", "", false, "- - -"},
		"two digits":        {"3/5/12 3-May-12", "", false, "- -"},
		"a number":          {"41032 2012 tomorrow", "", false, "- - -"},
		"in the future":     {"2030-01-01", "", false, "-"},
		"older than people": {"1890-01-01 1700-01-01", "", false, "- -"},
	} {
		t.Run(name, func(t *testing.T) {
			cells := strings.Fields(x.cells)
			text := "Name,DOB,Sex,Throws\n"
			for _, c := range cells {
				text += "Kim," + c + ",F,L\n"
			}
			got := build(t, textTable(t, text), func(s *RosterSettings) { s.Dates = x.said })
			var days []string
			for i, r := range got.Rows {
				if len(r.Faults) == 0 {
					days = append(days, string(r.Athlete.Born))
					continue
				}
				days = append(days, "-")
				if f := r.Faults[0]; len(r.Faults) != 1 || f.Value != cells[i] || f.Want == "" || f.Where != placeOf(i+2, "DOB") {
					t.Errorf("%+v", r.Faults)
				}
			}
			if strings.Join(days, " ") != x.want || got.Dates.Ask != x.ask {
				t.Errorf("%q, asked %v; want %q, %v", days, got.Dates.Ask, x.want, x.ask)
			}
		})
	}
}

// 1 in = 2.54 cm and 1 lb = 0.45359237 kg exactly; converted values are rounded to a tenth.
func TestSizes(t *testing.T) {
	for _, x := range []struct {
		m    Meaning
		cell string
		want float64 // 0: a fault
	}{
		{MeansHeight, "151", 151}, {MeansHeight, "151,5", 151.5}, {MeansHeight, "151.5 cm", 151.5}, {MeansHeight, "1.52 m", 152}, {MeansHeight, "60in", 152.4}, {MeansHeight, `60"`, 152.4},
		{MeansHeight, "5'", 152.4}, {MeansHeight, "5′10½″", 0}, {MeansHeight, "5 ft 10.5 in", 179.1}, {MeansHeight, "5’10”", 177.8}, {MeansHeight, "5'12", 0},
		{MeansHeight, "60", 0}, {MeansHeight, "5-10", 0}, {MeansHeight, "tall", 0}, {MeansHeight, "60 kg", 0}, {MeansHeight, "0", 0}, {MeansHeight, "-150", 0}, {MeansHeight, "1.52", 0},
		{MeansHeightCM, "60", 60}, {MeansHeightIn, "60", 152.4}, {MeansHeightIn, "152 cm", 152}, {MeansHeightM, "1,52", 152}, {MeansHeightFt, "5-10", 177.8}, {MeansHeightFt, "5 10", 177.8},
		{MeansHeightFt, "5", 152.4}, {MeansHeightFt, "5.10", 0}, {MeansHeightIn, "600", 0},
		{MeansMass, "50", 50}, {MeansMass, "110 lbs", 49.9}, {MeansMassLB, "110", 49.9}, {MeansMassLB, "50 kg", 50}, {MeansMassKG, "50 cm", 0}, {MeansMass, "500", 0},
	} {
		table := &RosterTable{Headings: []string{"Name", "Born", "Sex", "Throws", "Size"}, Rows: []RosterRow{{Row: 2, Cells: []string{"Kim", "2011-04-02", "F", "L", x.cell}}}}
		got := build(t, table, func(s *RosterSettings) { s.Means[4] = x.m }).Rows[0]
		v := got.Athlete.HeightCM + got.Athlete.MassKG
		if len(got.Faults) > 0 {
			v = 0
			if f := got.Faults[0]; len(got.Faults) != 1 || f.Where != "row 2, column Size" || f.Want == "" || f.Value != x.cell {
				t.Errorf("%s %q: %+v", x.m, x.cell, got.Faults)
			}
		}
		if v != x.want {
			t.Errorf("%s %q: %v, want %v", x.m, x.cell, v, x.want)
		}
	}
}

// Every fault names row, column and value, once for each cell.
func TestRosterFaults(t *testing.T) {
	head := "Name,DOB,Sex,Throws,Sport,Level,Height,ID\n"
	for cells, want := range map[string]string{
		",2011-04-02,F,L,baseball,youth,,":                                   "row 2, column Name|the name is missing",
		"Kim,,F,L,baseball,youth,,":                                          "row 2, column DOB|birth date is missing",
		"Kim,2011-04-02,,L,baseball,youth,,":                                 "row 2, column Sex|the sex is missing",
		"Kim,2011-04-02,x,L,baseball,youth,,":                                "row 2, column Sex|not understood",
		"Kim,2011-04-02,F,,baseball,youth,,":                                 "row 2, column Throws|the throwing hand is missing",
		"Kim,2011-04-02,F,R/L,baseball,youth,,":                              "row 2, column Throws|not understood",
		"Kim,2011-04-02,F,L from then,baseball,youth,,":                      "row 2, column Throws|not a day",
		"Kim,2011-04-02,F,L,chess,youth,,":                                   "row 2, column Sport|unknown sport",
		"Kim,2011-04-02,F,L,Baseball,7,,":                                    "row 2, column Level|not understood",
		"Kim,2011-04-02,F,L,baseball,youth,300,":                             "row 2, column Height|out of range",
		"Kim,2011-04-02,F,L,baseball,youth,151,5,":                           "row 2|",
		"Kim,2011-04-02,F,L,baseball,youth,," + strings.Repeat("1", 65):      "row 2, column ID|at most",
		"Kim,2011-04-02,F,L,baseball,youth,151,5,6":                          "row 2|more cells",
		strings.Repeat("K", 201) + ",2011-04-02,F,L,baseball,High School,,":  "row 2, column Name|at most",
		"K\x02m,2011-04-02,F,L,baseball,pro,,":                               "row 2, column Name|control",
		"Kim,2011-04-02,F,left; right from 2025-01-01,softball,university,,": "",
	} {
		got := build(t, textTable(t, head+cells+"\n"), nil).Rows[0]
		where, says, _ := strings.Cut(want, "|")
		switch {
		case want == "" || says == "":
			if len(got.Faults) > 0 {
				t.Errorf("%s: %v", cells, got.Faults)
			}
		case len(got.Faults) != 1 || got.Faults[0].Where != where || !strings.Contains(got.Faults[0].Problem+got.Faults[0].Want, says) || got.Faults[0].Want == "":
			t.Errorf("%s: %+v, want %s", cells, got.Faults, want)
		}
	}
}

func TestMeaningsThatDoNotSuffice(t *testing.T) {
	table := textTable(t, "Name,When,Sex,Hand\nKim,2011-04-02,F,L\n")
	for name, x := range map[string]struct {
		change func(*RosterSettings)
		says   string
	}{
		"no birth date": {func(*RosterSettings) {}, "hold the birth date"},
		"no name":       {func(s *RosterSettings) { s.Means = []Meaning{"", MeansBorn, MeansSex, MeansThrows} }, "hold the name"},
		"name twice": {func(s *RosterSettings) {
			s.Means = []Meaning{MeansName, MeansBorn, MeansFirst, MeansThrows}
			s.Sex = screen.Female
		}, "in full and in parts"},
		"one meaning twice":  {func(s *RosterSettings) { s.Means = []Meaning{MeansName, MeansBorn, MeansSex, MeansSex} }, "so does the column Sex"},
		"no sex":             {func(s *RosterSettings) { s.Means = []Meaning{MeansName, MeansBorn, "", MeansThrows} }, "hold the sex"},
		"no level":           {func(s *RosterSettings) { s.Means[1], s.Level = MeansBorn, "" }, "hold the level"},
		"two kinds of sizes": {func(s *RosterSettings) { s.Means[1], s.Means[2], s.Means[3] = MeansBorn, MeansHeightCM, MeansHeightIn }, "so does the column Sex"},
	} {
		got := build(t, table, x.change)
		if len(got.Rows) > 0 || !strings.Contains(got.Faults.Error(), x.says) {
			t.Errorf("%s: %v", name, got.Faults)
		}
	}
	got := build(t, table, func(s *RosterSettings) { s.Means[1], s.Means[2], s.Sex = MeansBorn, "", screen.Male })
	if len(got.Faults) > 0 || got.Rows[0].Athlete.Sex != screen.Male {
		t.Errorf("mapped by hand, sex for all rows: %+v", got)
	}
}

// A mark counts only where the column is used.
func TestMarkedCells(t *testing.T) {
	table := &RosterTable{Headings: []string{"Name", "Born", "Sex", "Throws", "Notes"},
		Rows: []RosterRow{{2, []string{"Kim", "2011-04-02", "", "L", ""}, []CellMark{{2, NotComputed}, {4, ErrorValue}}}}}
	got := build(t, table, nil).Rows[0].Faults
	if len(got) != 1 || got[0].Where != "row 2, column Sex" || !strings.Contains(got[0].Problem, "formula") {
		t.Errorf("%v", got)
	}
}

func TestTableThatDidNotComeBackWhole(t *testing.T) {
	good := textTable(t, "Name,DOB\nKim,2011-04-02\n").Text()
	for _, text := range []string{"", "x", good[:len(good)-8], strings.Replace(good, "\n2,", "\nx,", 1), good + "3,a,b,9zf\n", good + "3,a,b,f\n", strings.Replace(good, "evenhand", "other", 1)} {
		if _, err := ParseRosterTable(text); err == nil {
			t.Errorf("accepted: %q", text)
		}
	}
}
