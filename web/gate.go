package web

import (
	"crypto/sha256"
	"encoding/hex"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"golang.org/x/time/rate"

	"evenhand/internal/access"
	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// Door lets requests in. Everything that is served stands behind it, pages and API.
type Door struct {
	Office *office.Office
	// Visitor is who acts where nobody signed in; nil: nobody. It is given for a demo that only its own
	// machine can reach.
	Visitor func(*http.Request) access.Person
	Now     func() time.Time

	misses misses
}

// Admit is the middleware that finds out who sent a request: the holder of a token, whoever is signed
// in, or the holder of a link, who gets no further than the link leads.
func (d *Door) Admit(ctx *gin.Context) {
	address := addressOf(ctx.Request)
	who, err := d.who(ctx, address)
	byCode := who.ID == "" && who.Station != ""
	if wait := d.misses.wait(address, d.Now()); byCode && wait > 0 {
		turnedAway(ctx, wait)
		return
	}
	if wait, slow := office.Throttled(err); slow {
		turnedAway(ctx, wait)
		return
	}
	if err != nil && !screen.IsCode(err, screen.Unknown) && !screen.IsCode(err, screen.NotFound) {
		ctx.AbortWithStatus(http.StatusInternalServerError)
		_ = ctx.Error(err)
		return
	}
	ctx.Request = ctx.Request.WithContext(access.With(ctx.Request.Context(), who))
	ctx.Next()
	if byCode && ctx.Writer.Status() == http.StatusNotFound {
		d.misses.add(address, d.Now())
	}
}

func (d *Door) who(ctx *gin.Context, address string) (who access.Person, err error) {
	r := ctx.Request
	if token, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); ok {
		return d.Office.ByToken(r.Context(), token, address)
	}
	if cookie := sessionCookie(r); cookie != "" {
		if who, err = d.Office.BySession(r.Context(), cookie); err != nil {
			return access.Person{}, err
		}
	}
	if who.Anonymous() && d.Visitor != nil {
		who = d.Visitor(r)
	}
	switch route := ctx.FullPath(); {
	case route == "/s/:code", strings.HasPrefix(route, stationAPI):
		code := ctx.Param("code")
		who.Station, who.Link = code, "station "+fingerprint(code)
	case strings.HasPrefix(route, familyRoute):
		return d.Office.ByFamilyLink(r.Context(), ctx.Param("secret"), address)
	}
	return who, nil
}

const (
	stationAPI  = "/api/v1/stations/:code"
	familyRoute = "/f/:secret"
)

// fingerprint names a secret without telling it.
func fingerprint(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:4])
}

// addressOf is the network address that a request came from, without its port.
func addressOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

func turnedAway(ctx *gin.Context, wait time.Duration) {
	ctx.Header("Retry-After", strconv.Itoa(int(wait/time.Second)+1))
	ctx.Header("Cache-Control", "no-store")
	ctx.Abort()
	seconds := int(wait/time.Second) + 1
	if strings.HasPrefix(ctx.Request.URL.Path, "/api/") { // as the API answers
		ctx.Header("Content-Type", "application/problem+json")
		ctx.String(http.StatusTooManyRequests, `{"type":"about:blank","title":"Too Many Requests","status":429,"code":"too_many","detail":"too many tries from this address","want":"wait %d seconds, then try again"}`, seconds)
		return
	}
	ctx.String(http.StatusTooManyRequests, "Too many tries from this address. Wait %d seconds, then try again.", seconds)
}

// public are the pages that nobody has to sign in for. Each is behind a secret in its address or shows
// nothing of anybody.
var public = map[string]bool{
	"/sign-in": true, "/sign-in/passkey/begin": true, "/sign-in/passkey/finish": true,
	"/setup/:secret": true, "/invitation/:secret": true, "/reset/:secret": true, familyRoute: true,
	"/s/:code": true, "/s/sw.js": true, "/assets/*name": true,
}

// signedIn sends whoever is not signed in to the page for it, and back afterwards.
func (s *server) signedIn(ctx *gin.Context) {
	who := s.person(ctx)
	switch route := ctx.FullPath(); {
	case public[route], !who.Anonymous():
		ctx.Next()
	case ctx.Request.Method == http.MethodGet, ctx.Request.Method == http.MethodHead:
		ctx.Header("Cache-Control", "no-store")
		ctx.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(ctx.Request.URL.RequestURI()))
		ctx.Abort()
	default:
		s.fail(ctx, &screen.Problem{Code: screen.Unknown, Text: "nobody is signed in, so nothing was changed", Want: "sign in, then send it again"})
		ctx.Abort()
	}
}

const (
	missesAtOnce = 30
	missEvery    = 10 * time.Second
	mostMissing  = 4096 // addresses that are remembered
)

// misses counts station codes that do not exist by the address they came from: codes are short enough
// to be typed, and must not be found by trying.
type misses struct {
	mu sync.Mutex
	by map[string]*rate.Limiter
}

func (m *misses) wait(address string, now time.Time) time.Duration {
	m.mu.Lock()
	defer m.mu.Unlock()
	l := m.by[address]
	if l == nil || l.TokensAt(now) >= 1 {
		return 0
	}
	return time.Duration((1 - l.TokensAt(now)) * float64(missEvery))
}

func (m *misses) add(address string, now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.by == nil || len(m.by) >= mostMissing && m.by[address] == nil {
		m.by = map[string]*rate.Limiter{}
	}
	if m.by[address] == nil {
		m.by[address] = rate.NewLimiter(rate.Every(missEvery), missesAtOnce)
	}
	m.by[address].AllowN(now, 1)
}
