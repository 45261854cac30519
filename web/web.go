package web

import (
	"fmt"
	"log/slog"
	"net/http"
	"sync"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/exchange"
	"evenhand/internal/office"
)

// Options change how the pages are served. The zero Options are right for one local user.
type Options struct {
	Log       *slog.Logger               // where internal errors go; nil: slog.Default()
	Office    *office.Office             // accounts; nil: whoever the context of a request names acts
	MaxUpload int64                      // largest file that import reads, in bytes; 0: exchange.DefaultMaxBytes
	Demo      bool                       // the data are invented: every page says so
	Version   string                     // of the program, for the foot of every page; empty: not shown
	Base      func(*http.Request) string // address by which other devices reach this server; nil or empty: unknown
	Trust     *Trust                     // what devices need to trust this server; nil: nothing, or it is not ours to say
}

// server answers the requests for pages.
type server struct {
	clinic    *clinic.Clinic
	log       *slog.Logger
	office    *office.Office
	maxUpload int64
	demo      bool
	version   string
	base      func(*http.Request) string
	trust     *Trust
	looks     *looks
	assets    *assets
	protocol  func() *protocolPage // built at the first call: it never changes while the program runs
}

// Register adds the pages to the router: their routes, their assets, and the pages for what is not
// found. Pages that the JSON API draws from are expected under /api/v1 of the same router.
func Register(router *gin.Engine, c *clinic.Clinic, opt Options) error {
	s, err := newServer(c, opt)
	if err != nil {
		return err
	}
	pages := router.Group("/", SecurityHeaders(), s.recover, s.sameOrigin, s.signedIn)
	s.routes(pages)
	pages.GET("/assets/*name", s.asset)
	pages.HEAD("/assets/*name", s.asset)
	s.trustRoutes(router.Group("/", SecurityHeaders(), s.recover))
	router.NoRoute(SecurityHeaders(), s.recover, s.noRoute)
	return nil
}

func newServer(c *clinic.Clinic, opt Options) (*server, error) {
	s := &server{clinic: c, log: opt.Log, office: opt.Office, maxUpload: opt.MaxUpload, demo: opt.Demo, version: opt.Version, base: opt.Base, trust: opt.Trust}
	if s.log == nil {
		s.log = slog.Default()
	}
	if s.maxUpload <= 0 {
		s.maxUpload = exchange.DefaultMaxBytes
	}
	var err error
	if s.assets, err = theAssets(); err != nil {
		return nil, fmt.Errorf("load the pages' assets: %w", err)
	}
	if s.looks, err = theLooks(); err != nil {
		return nil, fmt.Errorf("load the pages' templates: %w", err)
	}
	s.protocol = onceProtocol(c)
	return s, nil
}

// Assets and templates are part of the program: they are prepared once.
var (
	theAssets = sync.OnceValues(loadAssets)
	theLooks  = sync.OnceValues(func() (*looks, error) {
		a, err := theAssets()
		if err != nil {
			return nil, err
		}
		return loadLooks(a.url)
	})
)

// routes names every page. A form is shown by GET and taken by POST under the same address.
func (s *server) routes(r *gin.RouterGroup) {
	s.page(r, "/", s.teams)
	s.page(r, "/teams/:team", s.triage)
	s.page(r, "/teams/:team/distribution", s.distribution)
	s.page(r, "/athletes/:athlete", s.athlete)
	s.page(r, "/athletes/:athlete/print", s.print)
	s.page(r, "/screens/:screen", s.readings)
	s.page(r, "/protocol", s.showProtocol)
	s.form(r, "/teams/new", s.newTeam, s.saveTeam)
	s.form(r, "/teams/:team/edit", s.editTeam, s.saveTeam)
	s.form(r, "/teams/:team/import", s.importForm, s.importFile)
	s.form(r, "/athletes/new", s.newAthlete, s.saveAthlete)
	s.form(r, "/athletes/:athlete/edit", s.editAthlete, s.saveAthlete)
	s.form(r, "/screens/:screen/readings/:reading/correct", s.correctForm, s.correct)
	s.dayRoutes(r)
	s.stationRoutes(r)
	s.rosterRoutes(r)
	s.handoutRoutes(r)
	s.courseRoutes(r)
	s.visitRoutes(r)
	s.followRoutes(r)
	s.explainRoutes(r)
	s.squadRoutes(r)
	s.retestRoutes(r)
	s.accountRoutes(r)
	s.coachRoutes(r)
	s.familyRoutes(r)
	s.consentRoutes(r)
	s.privacyRoutes(r)
}

// answer is what a handler gives: a page with a status, or the address to go on to.
type answer struct {
	status int
	page   page
	to     string
}

func shown(p page) answer       { return answer{status: http.StatusOK, page: p} }
func refused(p page) answer     { return answer{status: http.StatusUnprocessableEntity, page: p} }
func goOn(url string) answer    { return answer{to: url} }
func (a answer) empty() bool    { return a.page == nil && a.to == "" }
func (s *server) today() string { return day(s.clinic.Today()) }

type handler func(*gin.Context) (answer, error)

func (s *server) page(r *gin.RouterGroup, path string, h handler) {
	r.GET(path, s.answer(h))
	r.HEAD(path, s.answer(h))
}

func (s *server) form(r *gin.RouterGroup, path string, show, take handler) {
	s.page(r, path, show)
	r.POST(path, s.sameOrigin, s.answer(take))
}

// answer runs a handler and sends what it gives, or the page for its error.
func (s *server) answer(h handler) gin.HandlerFunc {
	return func(ctx *gin.Context) {
		a, err := h(ctx)
		switch {
		case err != nil:
			s.fail(ctx, err)
		case a.to != "":
			ctx.Redirect(http.StatusSeeOther, a.to)
		case a.empty():
			s.fail(ctx, fmt.Errorf("%s gave neither a page nor an address", ctx.FullPath()))
		default:
			s.show(ctx, a.status, a.page)
		}
	}
}

// person is who sent the request, as the door before the pages found out.
func (s *server) person(ctx *gin.Context) clinic.Person { return access.From(ctx.Request.Context()) }
