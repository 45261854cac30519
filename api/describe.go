package api

import (
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// describe adds to the document what does not come from Go types.
func describe(doc *huma.OpenAPI) {
	doc.Tags = []*huma.Tag{
		{Name: "teams", Description: "Teams with their seasons and members."},
		{Name: "athletes", Description: "The people who are screened."},
		{Name: "screens", Description: "One athlete on one occasion."},
		{Name: "readings", Description: "What was measured. A reading is never changed: a correction supersedes it."},
		{Name: "entries", Description: "Checklist, symptoms, and what was not measured."},
		{Name: "days", Description: "A team measured on one date at several stations."},
		{Name: "stations", Description: "What devices at a station read and send. Entries are kept on the device and may be sent again."},
		{Name: "scores", Description: "What the protocol says of the records. It is worked out, never stored."},
		{Name: "courses", Description: "What became of athletes from visit to visit: changes, trends, targets met, when to screen again; injuries and clearances."},
		{Name: "retest", Description: "What repeated readings say of a team's own measurement error, and which errors its screens are scored with."},
		{Name: "charts", Description: "Pictures as options of the drawing script, each with a sentence and a table that say the same."},
		{Name: "protocol", Description: "Measures, thresholds and their sources."},
		{Name: "privacy", Description: "Consents, and everything that is held about one athlete."},
		{Name: "transfer", Description: "Documents and files in and out."},
	}
	doc.Info.Description = description
	for name, schema := range doc.Components.Schemas.Map() {
		allowNull(schema, doc.Components.Schemas.TypeFromRef("#/components/schemas/"+name))
	}
}

// allowNull says of records within an answer that they may be null, where the Go type is a pointer
// that is not left out. huma says so of numbers and text only.
func allowNull(s *huma.Schema, t reflect.Type) {
	if t == nil || t.Kind() != reflect.Struct {
		return
	}
	for _, f := range reflect.VisibleFields(t) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		p := s.Properties[name]
		if f.Type.Kind() == reflect.Pointer && p != nil && p.Ref != "" && !strings.Contains(options, "omit") {
			s.Properties[name] = &huma.Schema{Description: p.Description, AnyOf: []*huma.Schema{{Ref: p.Ref}, {Type: "null"}}}
		}
	}
}

const description = `Screens of young overhead throwers: records, scores, charts. A screen is not a diagnosis.

Ids are made by whoever creates a record, best as UUIDv7: the same request sent twice is one record.

Lists that can grow come in parts: give the next of one part as ?after= of the following one.

A record's ETag is its revision. To change a record, send the ETag of the version that you read in If-Match. If somebody else changed the record meanwhile, the answer is 412 and nothing is changed.

Errors are problem documents (RFC 9457) that name every fault with its place in the request and with what would be right.

Times are in UTC, days as 2026-02-10, units in UCUM codes.`
