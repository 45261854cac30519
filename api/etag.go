package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"evenhand/internal/screen"
)

// A record's ETag is its revision in quotes. Where an answer shows two records, as a screen with its
// athlete, it is both: "7.3"; as a precondition of an edit the first one counts.

func etag(revisions ...int) string {
	b := []byte{'"'}
	for i, r := range revisions {
		if i > 0 {
			b = append(b, '.')
		}
		b = strconv.AppendInt(b, int64(r), 10)
	}
	return string(append(b, '"'))
}

// Cached is the input of reads that can say what they have already.
type Cached struct {
	IfNoneMatch string `header:"If-None-Match" doc:"ETag of the version at hand: answered by 304 if it is the current one"`
}

// unless is a 304 if the client has this version already.
func (c *Cached) unless(tag string) error {
	if c.IfNoneMatch == "" {
		return nil
	}
	for t := range strings.SplitSeq(c.IfNoneMatch, ",") {
		t = strings.TrimPrefix(strings.TrimSpace(t), "W/")
		if t == tag || t == "*" {
			return huma.ErrorWithHeaders(notModified{}, http.Header{"Etag": {tag}})
		}
	}
	return nil
}

// notModified is a 304: it goes the way of an error because it replaces the answer.
type notModified struct{}

func (notModified) Error() string  { return "not modified" }
func (notModified) GetStatus() int { return http.StatusNotModified }

// Edit is the input of writes to a record that has a revision.
type Edit struct {
	IfMatch     string `header:"If-Match" doc:"ETag of the version that is changed; required if the record exists"`
	IfNoneMatch string `header:"If-None-Match" doc:"* to create only; without If-Match that is so anyway"`
}

// revision is the one that the edit is made to, 0 to create.
func (e *Edit) revision() (int, error) {
	if e.IfNoneMatch != "" && (e.IfNoneMatch != "*" || e.IfMatch != "") {
		return 0, badHeader("If-None-Match", e.IfNoneMatch, "* to create a record, or If-Match alone to change one")
	}
	if e.IfMatch == "" {
		return 0, nil
	}
	tag, weak := strings.CutPrefix(e.IfMatch, "W/")
	tag, open := strings.CutPrefix(tag, `"`)
	tag, closed := strings.CutSuffix(tag, `"`)
	first, _, _ := strings.Cut(tag, ".")
	n, err := strconv.Atoi(first)
	switch {
	case !open || !closed || err != nil || n < 0:
		return 0, badHeader("If-Match", e.IfMatch, `the ETag of the version that you changed, such as "7"`)
	case weak || n == 0:
		return 0, &screen.Problem{Code: screen.Stale, Text: "no version matches this ETag", Want: "read the record again, then change it"}
	}
	return n, nil
}

// outcome puts an error of the write into the words of the precondition: what is an id that is taken
// to a use case is a record that exists to a client that named no version of it.
func (e *Edit) outcome(err error) error {
	switch {
	case e.IfMatch != "" || !screen.IsCode(err, screen.Conflict):
		return err
	case e.IfNoneMatch != "":
		return &Problem{Status: http.StatusPreconditionFailed, Detail: "there is such a record already, and it says something else", Want: "read it, then change it with If-Match"}
	}
	return &Problem{Status: http.StatusPreconditionRequired, Detail: "there is such a record already, and it says something else", Want: "read it, then change it with its ETag in If-Match"}
}

func badHeader(name, value, want string) error {
	return &Problem{Status: http.StatusBadRequest, Errors: []Fault{{Location: "header." + name, Message: "the header cannot be understood", Value: clip(value), Want: want}}}
}

// one is the answer of a read of one record.
type one[T any] struct {
	ETag string `header:"ETag"`
	Body T
}

// written is the answer of a write of one record.
type written[T any] struct {
	Status   int
	ETag     string `header:"ETag"`
	Location string `header:"Location"`
	Body     T
}

// put writes a record at the revision that the edit names. read finds out whether it is there, if the
// edit does not say: that decides between 200 and 201 and nothing else.
func put[T any](ctx context.Context, e *Edit, read func(context.Context) error, write func(context.Context, int) (T, error)) (int, T, error) {
	var none T
	rev, err := e.revision()
	if err != nil {
		return 0, none, err
	}
	status := http.StatusOK
	if rev == 0 && screen.IsCode(read(ctx), screen.NotFound) {
		status = http.StatusCreated
	}
	out, err := write(ctx, rev)
	return status, out, e.outcome(err)
}

var editErrors = []int{http.StatusConflict, http.StatusPreconditionFailed, http.StatusPreconditionRequired}

// sameID refuses a body that names another id than the address.
func sameID(body, path string) error {
	if body == "" || body == path {
		return nil
	}
	return &Problem{Status: http.StatusUnprocessableEntity, Errors: []Fault{{Location: "body.id", Message: "the body has another id than the address",
		Value: clip(body), Want: fmt.Sprintf("%q, or leave it out", clip(path))}}}
}

// idOr is the client's id for a new record, or a new one.
func (s *server) idOr(id string) string {
	if id == "" {
		return s.clinic.NewID()
	}
	return id
}

// absent is the outcome of looking for a record in a list.
func absent(err error, there bool) error {
	if err == nil && !there {
		return &screen.Problem{Code: screen.NotFound}
	}
	return err
}

// referring tells a record that is not there from one that a new record refers to: the address of what
// is being created cannot be wrong.
func referring(rev int, err error) error {
	var p *screen.Problem
	if rev == 0 && screen.IsCode(err, screen.NotFound) && errors.As(err, &p) {
		return &screen.Problem{Code: screen.Invalid, Text: p.Text, Want: "enter it first"}
	}
	return err
}
