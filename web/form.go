package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"github.com/gin-gonic/gin"

	"evenhand/internal/screen"
)

const (
	maxFormBytes = 1 << 20  // a form that is filled in by hand
	inMemory     = 32 << 20 // of an upload; the rest goes to a temporary file
)

// readForm reads a form of either encoding, up to so many bytes. A larger one is refused without
// reading more of it.
func readForm(ctx *gin.Context, most int64) error {
	ctx.Request.Body = http.MaxBytesReader(ctx.Writer, ctx.Request.Body, most)
	err := ctx.Request.ParseMultipartForm(inMemory)
	var large *http.MaxBytesError
	switch {
	case err == nil, errors.Is(err, http.ErrNotMultipart):
		return checkForm(ctx.Request.PostForm)
	case errors.As(err, &large):
		return err
	}
	return &screen.Problem{Code: screen.Invalid, Text: "the form did not arrive whole, nothing was changed", Want: "send it again"}
}

// checkForm refuses what no browser sends from a page of ours: text that is not UTF-8, which would be
// shown again beside its fault.
func checkForm(form url.Values) error {
	for _, values := range form {
		for _, v := range values {
			if !utf8.ValidString(v) {
				return &screen.Problem{Code: screen.Invalid, Text: "the form is not UTF-8 text, nothing was changed", Want: "send it from the page itself"}
			}
		}
	}
	return nil
}

// faultsOf is the faults in an error, nil if it is none or another one.
func faultsOf(err error) []screen.Fault {
	var f screen.Faults
	if errors.As(err, &f) {
		return f
	}
	return nil
}

// faultAt says what is wrong with a field of a form, "" if nothing is. A fault inside the field, such
// as that of its second trial, counts as one of the field.
func faultAt(faults []screen.Fault, field string) string {
	var out []string
	for _, f := range faults {
		where := f.Where[strings.LastIndex(f.Where, ".")+1:]
		if where == field || strings.HasPrefix(where, field+"[") {
			text := upperFirst(f.Problem)
			if f.Want != "" {
				text += ". Right would be: " + f.Want
			}
			out = append(out, text+".")
		}
	}
	return strings.Join(out, " ")
}
