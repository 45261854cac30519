package exchange

import (
	"errors"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

// today is the day on which the tests judge their inputs.
const today screen.Date = "2026-03-01"

func protocol(t testing.TB) *screen.Protocol {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// faultsOf is the faults of an error; the test fails if it is anything else.
func faultsOf(t *testing.T, err error) screen.Faults {
	t.Helper()
	var f screen.Faults
	if !errors.As(err, &f) {
		t.Fatalf("want faults, got %v", err)
	}
	return f
}

// wantFault makes sure that one fault is at the place and says what is expected.
func wantFault(t *testing.T, err error, where, says string) screen.Fault {
	t.Helper()
	for _, f := range faultsOf(t, err) {
		if f.Where == where && strings.Contains(f.Problem+" | "+f.Want, says) {
			return f
		}
	}
	t.Fatalf("no fault at %q that says %q in:\n%v", where, says, err)
	return screen.Fault{}
}

// onlyFault is wantFault for inputs with a single fault.
func onlyFault(t *testing.T, err error, where, says string) screen.Fault {
	t.Helper()
	f := wantFault(t, err, where, says)
	if n := len(faultsOf(t, err)); n != 1 {
		t.Fatalf("want one fault, got %d:\n%v", n, err)
	}
	return f
}

func hasNote(notes []string, says string) bool {
	for _, n := range notes {
		if strings.Contains(n, says) {
			return true
		}
	}
	return false
}

func TestEscapeIsUndone(t *testing.T) {
	for in, out := range map[string]string{
		"=1+1": "'=1+1", "+41": "'+41", "-3": "'-3", "@x": "'@x", "\tx": "'\tx", "\rx": "'\rx",
		"'=1": "''=1", "''-": "'''-", "Kim": "Kim", "'Kim": "'Kim", "": "", "'": "'", "O'-x": "O'-x",
		"x;=1": "x;'=1", "x; =1": "x; '=1", " +1": " '+1", "x;'=1": "x;''=1", "x\n-1": "x\n'-1", "x\t@1": "x\t'@1", "\t=1": "'\t'=1", "x;;-": "x;;'-",
		"x,=1": "x,=1", "a = b": "a = b", "x;' =1": "x;' =1", ";": ";", "x;'": "x;'",
	} {
		if got := escape(in); got != out {
			t.Errorf("escape(%q) = %q, want %q", in, got, out)
		}
		if got := unescape(escape(in)); got != in {
			t.Errorf("unescape(escape(%q)) = %q", in, got)
		}
	}
}

func TestSniff(t *testing.T) {
	for name, c := range map[string]struct {
		head string
		want Format
	}{
		"object":            {` {"athletes":[]}`, JSON},
		"list":              {`[1]`, JSON},
		"mark before JSON":  {"\xef\xbb\xbf{}", JSON},
		"readings":          {"athlete,date,measure,side,trial1\n", ReadingsCSV},
		"readings, roster":  {"Name;Born;Measure;Trial 1\r\nx", ReadingsCSV},
		"roster":            {"\xef\xbb\xbfName\tBorn\tSex\n", RosterCSV},
		"cut in the middle": {"name,born\n\"Ki", RosterCSV},
		"Latin-1":           {"name,throws\nJos\xe9", RosterCSV},
		"text":              {"hello", UnknownFormat},
		"empty":             {"", UnknownFormat},
		"UTF-16":            {"\xff\xfen\x00a\x00", UnknownFormat},
	} {
		if got := Sniff([]byte(c.head)); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

func TestReadDispatches(t *testing.T) {
	p := protocol(t)
	for want, in := range map[Format]string{
		JSON: sampleJSON, ReadingsCSV: sampleCSV,
		RosterCSV: "name,born,sex,throws,sport,level\nKim Tandrel,2011-04-02,female,left,baseball,youth\n",
	} {
		d, got, err := Read(strings.NewReader(in), p, Options{Today: today})
		if err != nil || got != want || len(d.Athletes)+len(d.Records) == 0 {
			t.Errorf("%s: %q %v %v", want, got, d, err)
		}
	}
	_, _, err := Read(strings.NewReader("hello"), p, Options{Today: today})
	onlyFault(t, err, "", "neither JSON nor a CSV")
}

// endless gives the same byte for ever and counts what was taken.
type endless struct{ n int }

func (e *endless) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = ' '
	}
	e.n += len(b)
	return len(b), nil
}

func TestLargeInputIsRefusedBeforeItIsReadWhole(t *testing.T) {
	p := protocol(t)
	for name, read := range map[string]func(*endless, Options) error{
		"json":   func(e *endless, o Options) error { _, err := ReadJSON(e, p, o); return err },
		"csv":    func(e *endless, o Options) error { _, err := ReadCSV(e, p, o); return err },
		"roster": func(e *endless, o Options) error { _, err := ReadRoster(e, p, o); return err },
	} {
		var e endless
		onlyFault(t, read(&e, Options{Today: today}), "", "larger than 20 MiB")
		if e.n > DefaultMaxBytes+1<<20 {
			t.Errorf("%s: %d bytes were read", name, e.n)
		}
		onlyFault(t, read(&e, Options{Today: today, MaxBytes: 1000}), "", "larger than 1000 bytes")
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("the line is cut") }

func TestReaderErrorIsNoFault(t *testing.T) {
	_, err := ReadJSON(broken{}, protocol(t), Options{Today: today})
	var f screen.Faults
	if err == nil || errors.As(err, &f) || !strings.Contains(err.Error(), "the line is cut") {
		t.Fatalf("got %v", err)
	}
}
