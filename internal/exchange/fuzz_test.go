package exchange

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
)

// An accepted document is the same when it is read from what was written of it.
func FuzzReadJSON(f *testing.F) {
	f.Add([]byte(sampleJSON))
	f.Add([]byte(fullJSON))
	f.Add([]byte(`{"athletes":[]}`))
	for _, c := range badJSON {
		f.Add([]byte(strings.Replace(sampleJSON, c.old, c.new, 1)))
	}
	p := protocol(f)
	opt := Options{Today: today}
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := ReadJSON(bytes.NewReader(data), p, opt)
		if err != nil {
			if d != nil || len(faultsOf(t, err)) > maxFaults+1 {
				t.Fatalf("%v", err)
			}
			return
		}
		var out bytes.Buffer
		if err := WriteJSON(&out, p, d); err != nil {
			t.Fatal(err)
		}
		again, err := ReadJSON(&out, p, opt)
		if err != nil || !reflect.DeepEqual(d, again) {
			t.Fatalf("%v\n%+v\n%+v", err, d, again)
		}
	})
}

// Accepted readings are the same when they are read from what was written of them.
func FuzzReadCSV(f *testing.F) {
	f.Add([]byte(sampleCSV))
	f.Add([]byte(withAthletes))
	f.Add([]byte(sampleRoster))
	f.Add([]byte("athlete;date;measure;side;trial1;taken;step\r\n'=1;2026-02-10;grip_strength;left;30,5;2026-02-10T16:20:00Z;0,5\r\n"))
	f.Add([]byte("athlete\tdate\tmeasure\tside\ttrial1\tscreen\treading\nJos\xe9\t2026-02-10\tgrip_strength\tleft\t30\ts1\tr1\n"))
	for _, c := range badCSV {
		f.Add([]byte(strings.Replace(sampleCSV, c.old, c.new, 1)))
	}
	p := protocol(f)
	opt := Options{Today: today}
	f.Fuzz(func(t *testing.T, data []byte) {
		if _, err := ReadRoster(bytes.NewReader(data), p, opt); err != nil {
			faultsOf(t, err)
		}
		Sniff(data)
		d, err := ReadCSV(bytes.NewReader(data), p, opt)
		if err != nil {
			if d != nil || len(faultsOf(t, err)) > maxFaults+1 {
				t.Fatalf("%v", err)
			}
			return
		}
		var out bytes.Buffer
		if err := WriteReadingsCSV(&out, p, d); err != nil {
			t.Fatal(err)
		}
		text := out.String()
		again, err := ReadCSV(&out, p, opt)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		d.Notes, again.Notes = nil, nil
		if len(d.Records) == 0 { // a file without rows says nothing of its athletes
			return
		}
		if !reflect.DeepEqual(d, again) {
			t.Fatalf("%+v\n%+v\n%s", d, again, text)
		}
	})
}
