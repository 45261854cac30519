package exchange

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

const sampleCSV = `athlete,date,measure,side,trial1,trial2,examiner,sign
a1,2026-02-10,shoulder_internal_rotation,left,41,43.5,k,
a1,2026-02-10,shoulder_internal_rotation,right,52,,k,
a1,2026-02-10,elbow_extension,left,4,5,k,loss
a2,2026-02-10,shoulder_internal_rotation,left,38,40,m,
`

func readCSV(t testing.TB, in string, opt Options) (*Document, error) {
	t.Helper()
	opt.Today = today
	return ReadCSV(strings.NewReader(in), protocol(t), opt)
}

func TestReadCSV(t *testing.T) {
	d, err := readCSV(t, sampleCSV, Options{Team: "t1"})
	if err != nil {
		t.Fatal(err)
	}
	if !d.Unresolved || len(d.Athletes) != 0 || len(d.Records) != 2 {
		t.Fatalf("%+v", d)
	}
	r := d.Records[0]
	if r.Screen.Athlete != "a1" || r.Athlete.ID != "a1" || r.Screen.Team != "t1" || r.Screen.Kind != screen.Preseason {
		t.Errorf("%+v", r.Screen)
	}
	want := [][]float64{{41, 43.5}, {52}, {-4, -5}}
	for i, x := range r.Readings {
		if !reflect.DeepEqual(x.Trials, want[i]) || x.Examiner != "k" || x.Screen != r.Screen.ID {
			t.Errorf("reading %d: %+v", i, x)
		}
	}
	if !hasNote(d.Notes, "read as preseason") {
		t.Errorf("notes %q", d.Notes)
	}
	again, err := readCSV(t, sampleCSV, Options{Team: "t1"})
	if err != nil || !reflect.DeepEqual(d, again) {
		t.Error("the same file twice differs")
	}
}

// The bad inputs: one replacement in the sample, and the exact place of the only fault.
var badCSV = []struct{ name, old, new, where, says, value string }{
	{"value out of range", "41,43.5", "41,430", "row 2, column trial2", "plausible range", "430"},
	{"no side", "rotation,right", "rotation,none", "row 3, column side", "left or right", "none"},
	{"side empty", "rotation,right", "rotation,", "row 3, column side", "left or right", ""},
	{"unknown measure", "shoulder_internal_rotation,right", "sholder_internal_rotation,right", "row 3, column measure", `did you mean "shoulder_internal_rotation"?`, "sholder_internal_rotation"},
	{"no trial", "52,,k", ",,k", "row 3, column trial1", "no trial", ""},
	{"gap", "52,,k", ",52,k", "row 3, column trial1", "later trial", ""},
	{"NaN", "52,,k", "NaN,,k", "row 3, column trial1", "not a number", "NaN"},
	{"infinity", "52,,k", "+Inf,,k", "row 3, column trial1", "not a number", "+Inf"},
	{"1e999", "52,,k", "1e999,,k", "row 3, column trial1", "not a finite number", "1e999"},
	{"hexadecimal", "52,,k", "0x34,,k", "row 3, column trial1", "not a number", "0x34"},
	{"underscore", "52,,k", "5_2,,k", "row 3, column trial1", "not a number", "5_2"},
	{"with unit", "52,,k", "52°,,k", "row 3, column trial1", "without its unit", "52°"},
	{"two points", "52,,k", "1.234.5,,k", "row 3, column trial1", "not a number", "1.234.5"},
	{"mixed decimals", "52,,k", `"52,5",,k`, "row 3, column trial1", "43.5 in row 2, column trial2, has a decimal point, but 52,5 in row 3, column trial1, a decimal comma", "52,5"},
	{"day", "a2,2026-02-10", "a2,10/02/2026", "row 5, column date", "not a day", "10/02/2026"},
	{"taken", "examiner,sign", "taken,sign", "row 2, column taken", "not a time", "k"},
	{"future", "a2,2026-02-10", "a2,2027-02-10", "row 5, column date", "future", "2027-02-10"},
	{"no athlete", "a2,", " ,", "row 5, column athlete", "missing", " "},
	{"elbow extension without sign", "loss", "", "row 4, column sign", "hyperextension", ""},
	{"unknown sign", "loss", "lost", "row 4, column sign", "unknown sign word", "lost"},
	{"too many cells", "41,43.5,k,", "41,5,43,5,k,", "row 2", "semicolon", ""},
	{"quotes", "a2,", `"a2"x,`, "row 5", "quotes", ""},
	{"missing column", ",side,", ",side_of_body,", "row 1, column side", "missing", ""},
	{"unknown column", "examiner", "examinor", "row 1, column examinor", `did you mean "examiner"?`, "examinor"},
	{"column twice", "examiner,sign", "examiner,side", "row 1, column side", "twice", ""},
	{"gap in the columns", "trial2", "trial3", "row 1, column trial2", "missing", ""},
	{"empty file", sampleCSV, "", "", "empty", ""},
	{"two encodings", "a2", "a\x002", "", "UTF-8", ""},
}

func TestBadCSV(t *testing.T) {
	for _, c := range badCSV {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(sampleCSV, c.old) {
				t.Fatalf("the sample does not contain %q", c.old)
			}
			d, err := readCSV(t, strings.Replace(sampleCSV, c.old, c.new, 1), Options{})
			if d != nil {
				t.Error("a faulty file was handed out")
			}
			f := wantFault(t, err, c.where, c.says)
			if f.Value != c.value || f.Want == "" {
				t.Errorf("%+v, want value %q", f, c.value)
			}
			if n := len(faultsOf(t, err)); n != 1 && c.name != "missing column" && c.name != "taken" {
				t.Errorf("want one fault, got %d:\n%v", n, err)
			}
		})
	}
}

func Test200Trials(t *testing.T) {
	head, row := "athlete,date,measure,side", "a1,2026-02-10,grip_strength,left"
	for i := range 200 {
		head += fmt.Sprintf(",trial%d", i+1)
		row += ",30"
	}
	_, err := readCSV(t, head+"\n"+row+"\n", Options{})
	onlyFault(t, err, "row 2, column trial1", "200 trials")
}

func TestCSVForms(t *testing.T) {
	plain, err := readCSV(t, sampleCSV, Options{})
	if err != nil {
		t.Fatal(err)
	}
	semicolon := strings.ReplaceAll(sampleCSV, ",", ";")
	for name, c := range map[string]struct{ in, note string }{
		"mark and CRLF":  {"\xef\xbb\xbf" + strings.ReplaceAll(sampleCSV, "\n", "\r\n"), ""},
		"semicolon":      {semicolon, ""},
		"tab":            {strings.ReplaceAll(sampleCSV, ",", "\t"), ""},
		"header":         {strings.Replace(sampleCSV, "athlete,date,measure,side,trial1,trial2", " Athlete ,ON,Measure,\"Side\",Trial 1,trial-2", 1), ""},
		"decimal comma":  {strings.Replace(semicolon, "43.5", "43,5", 1), "decimal comma: 43,5 in row 2"},
		"quoted comma":   {strings.Replace(sampleCSV, "43.5", `"43,5"`, 1), "decimal comma"},
		"capitals":       {strings.NewReplacer("loss", "Loss", ",left", ",Left").Replace(sampleCSV), ""},
		"spaces":         {strings.ReplaceAll(sampleCSV, ",", " , "), ""},
		"kind in column": {strings.NewReplacer(",sign\n", ",sign,kind\n", "k,\n", "k,,\n", "loss\n", "loss,Preseason\n", "m,\n", "m,,preseason\n").Replace(sampleCSV), "2 of 4 rows"},
		"empty rows":     {sampleCSV + ",,,,,,,\n\n ,\n", ""},
	} {
		t.Run(name, func(t *testing.T) {
			d, err := readCSV(t, c.in, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if c.note != "" && !hasNote(d.Notes, c.note) {
				t.Errorf("notes %q do not say %q", d.Notes, c.note)
			}
			if !reflect.DeepEqual(d.Records, plain.Records) {
				t.Errorf("got %+v\nwant %+v", d.Records, plain.Records)
			}
		})
	}
}

func TestLatin1IsReadAndSaid(t *testing.T) {
	in := "athlete,date,measure,side,trial1\nJos\xe9 \x80,2026-02-10,grip_strength,left,30\n"
	d, err := readCSV(t, in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d.Records[0].Screen.Athlete != "José €" || !hasNote(d.Notes, "Windows-1252") {
		t.Errorf("%+v", d)
	}
}

// Rows are counted as a spreadsheet does: empty lines are rows, and a cell of two lines is in one row.
func TestRowsAreCountedAsInASpreadsheet(t *testing.T) {
	in := "athlete,date,measure,side,trial1,position\n\n" +
		"a,2026-02-10,grip_strength,left,30,\"lying\non the back\"\n" +
		"a,2026-02-10,grip_strength,right,x,\n"
	_, err := readCSV(t, in, Options{})
	onlyFault(t, err, "row 4, column trial1", "not a number")
}

const withAthletes = `athlete,name,born,sex,throws,sport,level,height_cm,date,measure,side,trial1
a1,Kim Tandrel,2011-04-02,female,left,baseball,youth,151.5,2026-02-10,grip_strength,left,20
a1,,,,,,,,2026-02-10,grip_strength,right,22
7 b,Bo Quillmere,2009-01-02,Male,right; left from 2025-03-01,Softball,school,,2026-02-10,grip_strength,left,40
`

func TestCSVWithAthletes(t *testing.T) {
	d, err := readCSV(t, withAthletes, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d.Unresolved || len(d.Athletes) != 2 || d.Records[0].Athlete.HeightCM != 151.5 {
		t.Fatalf("%+v", d)
	}
	bo := d.Athletes[1]
	if bo.ID != idFor("7 b") || bo.Sex != screen.Male || bo.HandOn("2025-02-01") != screen.RightHand || bo.HandOn("2025-04-01") != screen.LeftHand {
		t.Errorf("%+v", bo)
	}
	for _, c := range []struct{ old, new, where, says string }{
		{"a1,,,,", "a1,,2011-04-03,,", "row 3, column born", `contradicts "2011-04-02" in row 2`},
		{"2011-04-02", "2027-04-02", "row 2, column born", "future"},
		{"2009-01-02", "2026-02-11", "row 4, column date", "before the athlete's birth"},
		{",baseball,", ",basket,", "row 2, column sport", "unknown sport"},
		{"151.5", "151 cm", "row 2, column height_cm", "without its unit"},
		{"Male", "m", "row 4, column sex", "male or female"},
		{"right; left", "right; neither", "row 4, column throws", "neither"},
		{"Kim Tandrel", "", "row 2, column name", "missing"},
	} {
		_, err := readCSV(t, strings.Replace(withAthletes, c.old, c.new, 1), Options{})
		onlyFault(t, err, c.where, c.says)
	}
}

func TestCSVKnownAthletes(t *testing.T) {
	known := func(ref string) *screen.Athlete {
		if ref == "Kim Tandrel" || ref == "a1" {
			return &screen.Athlete{ID: "a1", Name: "Kim Tandrel", Born: "2011-04-02"}
		}
		return nil
	}
	_, err := readCSV(t, sampleCSV, Options{Known: known})
	onlyFault(t, err, "row 5, column athlete", "no such athlete")
	d, err := readCSV(t, strings.Replace(sampleCSV, "a2", "Kim Tandrel", 1), Options{Known: known})
	if err != nil || d.Unresolved || len(d.Records) != 1 || len(d.Records[0].Readings) != 4 {
		t.Fatalf("%+v %v", d, err)
	}
}

func TestScreenColumn(t *testing.T) {
	in := "athlete,date,screen,kind,measure,side,trial1\na,2026-02-10,s1,rehab,grip_strength,left,30\na,2026-02-11,s1,rehab,grip_strength,right,30\n"
	_, err := readCSV(t, in, Options{})
	onlyFault(t, err, "row 3, column screen", "row 2 has the same screen")
	d, err := readCSV(t, strings.Replace(in, "2026-02-11", "2026-02-10", 1), Options{})
	if err != nil || d.Records[0].Screen.ID != "s1" || d.Records[0].Screen.Kind != screen.Rehab {
		t.Fatalf("%+v %v", d, err)
	}
}

func TestReadingsCSVRoundTrip(t *testing.T) {
	p := protocol(t)
	for _, in := range []string{fullJSON, sampleJSON} {
		d, err := readJSON(t, in, Options{})
		if err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		if err := WriteReadingsCSV(&out, p, d); err != nil {
			t.Fatal(err)
		}
		again, err := readCSV(t, out.String(), Options{})
		if err != nil {
			t.Fatalf("%v\n%s", err, out.String())
		}
		if !reflect.DeepEqual(again.Athletes, d.Athletes) {
			t.Errorf("athletes: %+v\nwant %+v", again.Athletes, d.Athletes)
		}
		want := d.Records[0].Readings
		for i := range want { // the screen's examiner becomes that of the reading
			if want[i].Examiner == "" {
				want[i].Examiner = d.Records[0].Screen.Examiner
			}
		}
		if !reflect.DeepEqual(again.Records[0].Readings, want) {
			t.Errorf("readings: %+v\nwant %+v", again.Records[0].Readings, want)
		}
	}
}

func TestReadingsCSVCells(t *testing.T) {
	d, err := readJSON(t, fullJSON, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := WriteReadingsCSV(&out, protocol(t), d); err != nil {
		t.Fatal(err)
	}
	want := `athlete,name,born,sex,throws,sport,level,positions,external_id,screen,date,kind,measure,side,sign,trial1,trial2,examiner,instrument,position,step,device,taken,reading
a1,'=Kim,2011-04-02,female,right; left from 2025-03-01,softball,youth,pitcher; infielder,'-7,s1,2026-02-10,rehab,elbow_extension,left,as_written,-4.5,2,kd,goniometer,supine,0.5,d1,2026-02-10T14:20:00.5Z,r1
a1,'=Kim,2011-04-02,female,right; left from 2025-03-01,softball,youth,pitcher; infielder,'-7,s1,2026-02-10,rehab,hip_internal_rotation,right,,33,,kd,,,,,,
`
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
}

// manyRows is a file of n readings, 40 a screen.
func manyRows(n int) []byte {
	var b bytes.Buffer
	b.WriteString("athlete,date,measure,side,trial1,trial2,examiner,instrument\n")
	measures := []string{"shoulder_internal_rotation", "shoulder_flexion", "grip_strength", "hip_internal_rotation", "trunk_rotation"}
	for i := range n {
		fmt.Fprintf(&b, "athlete-%d,2026-02-%02d,%s,%s,%d,%d.5,kd,goniometer\n", i/40%500, 1+i/20000, measures[i/2%5], []string{"left", "right"}[i%2], 60+i%9, 60+i%7)
	}
	return b.Bytes()
}

func TestOneWrongRowOf100000(t *testing.T) {
	data := manyRows(100_000)
	lines := bytes.Split(data, []byte("\n"))
	lines[77_776] = bytes.Replace(lines[77_776], []byte(",kd,"), []byte("x,kd,"), 1)
	_, err := readCSV(t, string(bytes.Join(lines, []byte("\n"))), Options{})
	onlyFault(t, err, "row 77777, column trial2", "not a number")
	d, err := readCSV(t, string(data), Options{})
	if err != nil || len(d.Records) != 2500 {
		t.Fatalf("%d records, %v", len(d.Records), err)
	}
}

func TestFaultsOfAFileAreCapped(t *testing.T) {
	data := strings.ReplaceAll(string(manyRows(1000)), ",kd,", "x,kd,")
	_, err := readCSV(t, data, Options{})
	f := faultsOf(t, err)
	if len(f) != 101 || f[100].Problem != "and 900 more" || f[99].Where != "row 101, column trial2" {
		t.Errorf("%d faults, the last %v", len(f), f[len(f)-1])
	}
}

func BenchmarkReadCSV100000(b *testing.B) {
	p, data := protocol(b), manyRows(100_000)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ReadCSV(bytes.NewReader(data), p, Options{Today: today}); err != nil {
			b.Fatal(err)
		}
	}
}
