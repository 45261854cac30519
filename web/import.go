package web

import (
	"io"
	"regexp"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// importPage takes a file or pasted text, and says what became of it.
type importPage struct {
	Head
	Team   screen.Team
	Pasted string
	InHand bool   // the consent of everybody in the file is held
	Given  string // by when it was given
	Faults []faultRow
	Rows   bool // the faults have rows and columns
	Done   *clinic.Imported
}

func (*importPage) file() string { return "import.html" }

// faultRow is one thing that is wrong with an input.
type faultRow struct{ Row, Column, Where, Problem, Value, Want string }

const (
	formRest    = 64 << 10 // of a form besides the file
	pastedAgain = 256 << 10
)

func (s *server) importPage(ctx *gin.Context) (*importPage, error) {
	t, err := s.clinic.Team(ctx.Request.Context(), s.person(ctx), ctx.Param("team"))
	if err != nil {
		return nil, err
	}
	return &importPage{Head: Head{Title: "Import into " + t.Name, Crumbs: []Crumb{{t.Name, "/teams/" + t.ID}}}, Team: t, Given: string(s.clinic.Today())}, nil
}

// options are what the form says besides the file.
func (p *importPage) options(most int64) clinic.ImportOptions {
	out := clinic.ImportOptions{MaxBytes: most}
	if p.InHand {
		out.Consent = &clinic.ConsentInHand{On: screen.Date(p.Given)}
	}
	return out
}

func (s *server) importForm(ctx *gin.Context) (answer, error) {
	p, err := s.importPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

// readUpload reads a form with a file; tidy removes what was put aside for it.
func (s *server) readUpload(ctx *gin.Context) (tidy func(), err error) {
	if err := readForm(ctx, s.maxUpload+formRest); err != nil {
		return nil, err
	}
	return func() {
		if f := ctx.Request.MultipartForm; f != nil {
			_ = f.RemoveAll() // temporary files; what stays behind harms nobody
		}
	}, nil
}

func (s *server) importFile(ctx *gin.Context) (answer, error) {
	tidy, err := s.readUpload(ctx)
	if err != nil {
		return answer{}, err
	}
	defer tidy()
	p, err := s.importPage(ctx)
	if err != nil {
		return answer{}, err
	}
	in, closeInput, err := fileOrText(ctx, &p.Pasted)
	if err != nil {
		return answer{}, err
	}
	defer closeInput()
	p.InHand = ctx.PostForm("consent") == "yes"
	if on := strings.TrimSpace(ctx.PostForm("consent_on")); p.InHand {
		p.Given = on
	}
	if in == nil {
		p.refuse([]screen.Fault{{Problem: "nothing was given", Want: "choose a file, or paste the text"}})
		return refused(p), nil
	}
	done, err := s.clinic.Import(ctx.Request.Context(), s.person(ctx), p.Team.ID, in, p.options(s.maxUpload))
	if faults := faultsOf(err); faults != nil {
		p.refuse(faults)
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	p.Done, p.Pasted = &done, ""
	p.Needs = doneWords(&done)
	return shown(p), nil
}

// fileOrText is what is to be read: the file, or else what was pasted; nil if there is neither. Pasted
// text that is not too long is shown again.
func fileOrText(ctx *gin.Context, again *string) (in io.Reader, closeInput func(), err error) {
	nothing := func() {}
	if h, err := ctx.FormFile("file"); err == nil && h.Size > 0 {
		f, err := h.Open()
		if err != nil {
			return nil, nothing, err
		}
		return f, func() { _ = f.Close() }, nil
	}
	text := ctx.PostForm("text")
	if strings.TrimSpace(text) == "" {
		return nil, nothing, nil
	}
	if len(text) <= pastedAgain {
		*again = text
	}
	return strings.NewReader(text), nothing, nil
}

var rowAndColumn = regexp.MustCompile(`^row (\d+)(?:, column (.+))?$`)

func (p *importPage) refuse(faults []screen.Fault) {
	p.Needs = "Nothing was changed: " + count(len(faults), "place needs", "places need") + " to be put right first."
	for _, f := range faults {
		row := faultRow{Where: f.Where, Problem: upperFirst(f.Problem), Value: f.Value, Want: upperFirst(f.Want)}
		if m := rowAndColumn.FindStringSubmatch(f.Where); m != nil {
			row.Row, row.Column, p.Rows = m[1], m[2], true
		}
		p.Faults = append(p.Faults, row)
	}
}

func doneWords(d *clinic.Imported) string {
	if d.Athletes+d.Screens+d.Readings+d.Entries+d.Consents == 0 {
		return "Nothing new: all of it was on record already."
	}
	return "Added: " + count(d.Athletes, "athlete", "athletes") + ", " + count(d.Screens, "screen", "screens") + ", " +
		count(d.Readings, "reading", "readings") + consentsWords(d.Consents) + "."
}

func consentsWords(n int) string {
	if n == 0 {
		return ""
	}
	return ", " + count(n, "consent", "consents")
}
