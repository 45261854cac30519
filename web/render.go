package web

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"evenhand/internal/score"
)

//go:embed templates
var templateFiles embed.FS

// Head is what every page shows around its own content: where one is, and what needs attention.
type Head struct {
	Title    string
	Crumbs   []Crumb
	Needs    string   // what needs attention, in one line; empty: nothing to say
	Urgent   bool     // Needs speaks of a referral sign
	Charts   bool     // the page draws charts
	Styles   []string // style sheets besides the one of every page
	Scripts  []string // modules of the page
	Protocol string
	Cautions []string
	Demo     bool
	Version  string
	Places   []Crumb // where whoever looks can go
	Who      string  // who is signed in; empty: nobody
	SignedIn bool
	Guest    bool   // nobody is signed in, and somebody could
	Visitor  string // of a demo without accounts: the role as which it is seen
	Bare     bool   // for somebody without an account: no way to the pages of the staff
}

func (h *Head) head() *Head { return h }

// Crumb is a place on the way to a page.
type Crumb struct{ Text, Href string }

// page is what a template is given. Each is a struct of its own with its own template.
type page interface {
	file() string
	head() *Head
}

// pages lists every page once: templates are parsed from it, and tests render each.
var pages = slices.Concat([]page{
	&teamsPage{}, &triagePage{}, &distributionPage{}, &athletePage{}, &printPage{}, &readingsPage{}, &correctPage{},
	&protocolPage{}, &importPage{}, &teamForm{}, &athleteForm{}, &errorPage{},
}, dayPages, stationPages, rosterPages, handoutPages, coursePages, visitPages, followPages, explainPages, squadPages, retestPages, coachPages, familyPages, consentPages, privacyPages, trustPages, accountPages)

// looks holds one template set a page. The sets are clones of the base, so that a block of one page
// never stands in for that of another.
type looks struct{ byFile map[string]*template.Template }

func loadLooks(assetURL func(string) string) (*looks, error) {
	base, err := template.New("base.html").Funcs(functions(assetURL)).ParseFS(templateFiles, "templates/base.html", "templates/parts/*.html")
	if err != nil {
		return nil, err
	}
	out := &looks{byFile: make(map[string]*template.Template, len(pages))}
	for _, p := range pages {
		t, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if out.byFile[p.file()], err = t.ParseFS(templateFiles, "templates/"+p.file()); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// functions are those that templates may call; they put values into words and decide nothing.
func functions(assetURL func(string) string) template.FuncMap {
	return template.FuncMap{
		"asset": assetURL, "day": day, "in100": score.OutOf100, "plural": plural, "verdict": verdictWords,
		"lower": lowerFirst, "upper": upperFirst, "kind": kindWords,
	}
}

// write renders a page whole, so that a fault in a template never sends half a page.
func (l *looks) write(b *bytes.Buffer, p page) error {
	t, ok := l.byFile[p.file()]
	if !ok {
		return fmt.Errorf("the page %T is not in the table of pages", p)
	}
	return t.ExecuteTemplate(b, "base.html", p)
}

// render writes a page into b with what every page shows.
func (s *server) render(b *bytes.Buffer, p page) error {
	h := p.head()
	h.Protocol, h.Cautions = s.clinic.Protocol().NameAndVersion(), s.clinic.Protocol().Cautions
	h.Demo, h.Version = s.demo, s.version
	return s.looks.write(b, p)
}

func (s *server) show(ctx *gin.Context, status int, p page) {
	var b bytes.Buffer
	s.greet(ctx, p.head())
	if err := s.render(&b, p); err != nil {
		if _, twice := p.(*errorPage); twice {
			s.log.ErrorContext(ctx.Request.Context(), "error page failed", "error", err.Error())
			http.Error(ctx.Writer, "Something went wrong inside evenhand.", http.StatusInternalServerError)
			return
		}
		s.fail(ctx, fmt.Errorf("render %s: %w", p.file(), err))
		return
	}
	ctx.Header("Cache-Control", "no-store") // health records do not stay behind in a shared browser
	ctx.Header("Content-Length", strconv.Itoa(b.Len()))
	ctx.Data(status, "text/html; charset=utf-8", b.Bytes())
}
