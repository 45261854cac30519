package web

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
)

// auditWriter writes entries one after the other into a file; close ends it.
type auditWriter interface {
	write(*access.Entry) error
	close() error
}

// exportAudit sends what a search finds as a file, entry by entry: a year's audit is large. What goes
// wrong after the first byte breaks the connection, so that half a file is not taken for a whole one.
func (s *server) exportAudit(form func(io.Writer) auditWriter, contentType, name string) gin.HandlerFunc {
	return func(ctx *gin.Context) {
		q, faults := typedQuery(ctx).read()
		if faults != nil {
			ctx.Redirect(http.StatusSeeOther, "/audit?"+ctx.Request.URL.RawQuery)
			return
		}
		out := &lateHead{ctx: ctx, contentType: contentType, name: name}
		w := form(out)
		err := s.office.EachAudit(ctx.Request.Context(), s.person(ctx), q, w.write)
		if err == nil {
			err = w.close()
		}
		switch {
		case err == nil:
		case ctx.Writer.Written():
			s.log.ErrorContext(ctx.Request.Context(), "export of the audit broke off", "route", ctx.FullPath(), "error", err.Error())
			panic(http.ErrAbortHandler)
		default:
			s.fail(ctx, err)
		}
	}
}

// lateHead sets the headers of a file with its first byte, so that an error before it has a page.
type lateHead struct {
	ctx               *gin.Context
	contentType, name string
}

func (l *lateHead) Write(b []byte) (int, error) {
	if !l.ctx.Writer.Written() {
		l.ctx.Header("Content-Type", l.contentType)
		l.ctx.Header("Content-Disposition", `attachment; filename="`+l.name+`"`)
		l.ctx.Header("Cache-Control", "no-store")
		l.ctx.Status(http.StatusOK)
	}
	return l.ctx.Writer.Write(b)
}

var auditColumns = []string{"seq", "at", "who", "name", "action", "outcome", "kind", "subject", "team", "via", "request", "prev", "hash"}

type auditCSV struct {
	out    *csv.Writer
	headed bool
}

func writeAuditCSV(w io.Writer) auditWriter { return &auditCSV{out: csv.NewWriter(w)} }

func (a *auditCSV) head() error {
	if a.headed {
		return nil
	}
	a.headed = true
	return a.out.Write(auditColumns)
}

// write makes a row. Names are what people typed, so none may be taken for a formula by a spreadsheet.
func (a *auditCSV) write(e *access.Entry) error {
	if err := a.head(); err != nil {
		return err
	}
	row := []string{strconv.FormatInt(e.Seq, 10), e.At.UTC().Format(time.RFC3339Nano), e.Who, e.Name, string(e.Action), string(e.Outcome), e.Kind,
		e.Subject, e.Team, e.Via, e.Request, e.Prev, e.Hash}
	for i := range row {
		row[i] = exchange.CSVText(row[i])
	}
	return a.out.Write(row)
}

func (a *auditCSV) close() error {
	if err := a.head(); err != nil {
		return err
	}
	a.out.Flush()
	return a.out.Error()
}

type auditJSON struct {
	out io.Writer
	n   int
}

func writeAuditJSON(w io.Writer) auditWriter { return &auditJSON{out: w} }

func (a *auditJSON) write(e *access.Entry) error {
	b, err := json.Marshal(e)
	if err != nil {
		return err
	}
	before := ",\n"
	if a.n == 0 {
		before = "[\n"
	}
	a.n++
	_, err = a.out.Write(append([]byte(before), b...))
	return err
}

func (a *auditJSON) close() error {
	end := "\n]\n"
	if a.n == 0 {
		end = "[]\n"
	}
	_, err := io.WriteString(a.out, end)
	return err
}
