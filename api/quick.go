package api

import (
	"encoding/json"
	"errors"
	"net/http"
	"reflect"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"
)

// Readings come by the thousand on a screening day, and huma decodes every body twice: once to hold it
// against the schema, once into the form. Readings are decoded once, and only if something in them is
// not as plain as a station writes it are they held against the schema.

// errLookCloser says that a body does not fit the schema; lookedCloser finds where.
var errLookCloser = errors.New("the readings do not fit their schema")

// readingFields is the fields of a reading, quoted as they stand in a body.
var readingFields = func() map[string]bool {
	out := map[string]bool{}
	for _, f := range reflect.VisibleFields(reflect.TypeFor[readingForm]()) {
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != "" {
			out[`"`+name+`"`] = true
		}
	}
	return out
}()

func knownInReadings(depth int, quoted []byte) bool {
	if depth == 1 {
		return string(quoted) == `"readings"`
	}
	return readingFields[string(quoted)]
}

// whole reports whether nothing that the schema requires is missing. What the words mean is the use
// case's to say, but an empty one may have been left out.
func (f *readingsForm) whole() bool {
	for i := range f.Readings {
		r := &f.Readings[i]
		if r.ID == "" || r.Measure == "" || r.Trials == nil || r.Side != "left" && r.Side != "right" && r.Side != "none" {
			return false
		}
	}
	return f.Readings != nil
}

// read decodes readings.
func (f *readingsForm) read(data []byte) error {
	if json.Unmarshal(data, f) == nil && f.whole() && tidy(data, knownInReadings) {
		return nil
	}
	*f = readingsForm{}
	if _, errs := checkReadings(string(data)); len(errs) > 0 {
		return errLookCloser
	}
	return json.Unmarshal(data, f)
}

var readingsSchema = sync.OnceValues(func() (huma.Registry, *huma.Schema) {
	registry := huma.NewMapRegistry("#/", schemaName)
	return registry, registry.Schema(reflect.TypeFor[readingsForm](), false, "")
})

// checkReadings holds a body against the schema as huma does, and gives status and faults.
func checkReadings(body string) (int, []error) {
	var parsed any
	if err := readJSON([]byte(body), &parsed); err != nil {
		return http.StatusBadRequest, []error{&huma.ErrorDetail{Location: "body", Message: err.Error(), Value: body}}
	}
	registry, schema := readingsSchema()
	path, found := huma.NewPathBuffer(nil, 0), &huma.ValidateResult{}
	path.Push("body")
	huma.Validate(registry, schema, path, huma.ModeWriteToServer, parsed, found)
	return http.StatusUnprocessableEntity, found.Errors
}

// lookedCloser replaces what huma says of a body that was not held against its schema beforehand.
func lookedCloser(status int, err error) (int, []error) {
	d, ok := err.(huma.ErrorDetailer)
	if !ok {
		return status, []error{err}
	}
	body, _ := d.ErrorDetail().Value.(string)
	switch message := d.ErrorDetail().Message; {
	case message == errLookCloser.Error():
		return checkReadings(body)
	case strings.HasPrefix(message, huma.ErrUnknownContentType.Error()):
		return http.StatusUnsupportedMediaType, nil
	}
	return status, []error{err}
}
