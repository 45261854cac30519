package web

import (
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/screen"
)

// policy lets a page load only what this server itself serves. Style attributes are allowed because
// the drawing script and the bars' lengths need them; style elements and inline scripts are not.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; " +
	"img-src 'self' data:; connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"

// everyAnswer are headers that every answer has. Nothing is kept by a browser unless a handler says so:
// only files that are nobody's do. The referrer policy is same-origin: nothing is told to other hosts,
// while no-referrer would make browsers send "Origin: null" with our own forms, which then could not be
// told from those of a stranger.
var everyAnswer = map[string]string{
	"Cache-Control":                "no-store",
	"Content-Security-Policy":      policy,
	"Cross-Origin-Resource-Policy": "same-origin",
	"Permissions-Policy": "camera=(), display-capture=(), geolocation=(), microphone=(), payment=(), usb=(), " +
		"publickey-credentials-create=(self), publickey-credentials-get=(self)",
	"Referrer-Policy":        "same-origin",
	"X-Content-Type-Options": "nosniff",
	"X-Frame-Options":        "DENY", // for browsers that do not know frame-ancestors
}

// hsts lasts a year and counts for this name alone: what else runs below it is not ours to decide.
const hsts = "max-age=31536000"

// SecurityHeaders is the middleware for every route, pages and API.
func SecurityHeaders() gin.HandlerFunc {
	return func(ctx *gin.Context) {
		h := ctx.Writer.Header()
		for name, value := range everyAnswer {
			h.Set(name, value)
		}
		host, _ := hostOf(ctx.Request.Host)
		ip, err := netip.ParseAddr(host)
		local := host == "localhost" || err == nil && ip.IsLoopback()
		if ctx.Request.TLS != nil || local { // elsewhere browsers take it for a mistake and say so
			h.Set("Cross-Origin-Opener-Policy", "same-origin")
		}
		if ctx.Request.TLS != nil && err != nil && !local { // browsers keep it for names only
			h.Set("Strict-Transport-Security", hsts)
		}
		ctx.Next()
	}
}

// A host as a request names it: a name, an address of version 4, or one of version 6 in brackets, and
// perhaps a port.
var hostForm = regexp.MustCompile(`^(?:\[([0-9A-Fa-f:.]+)\]|([A-Za-z0-9._-]+))(?::[0-9]{1,5})?$`)

// hostOf is the host that a request names, in lower case and without its port; false if it has not the
// form of one.
func hostOf(s string) (host string, ok bool) {
	m := hostForm.FindStringSubmatch(s)
	if m == nil {
		return "", false
	}
	return strings.ToLower(m[1] + m[2]), true
}

// KnownHosts is a middleware that answers only requests for an address, for localhost, or for one of
// the names. Without it, a stranger's page whose name is pointed at this machine could read records
// through the browser of somebody who visits it.
func KnownHosts(names ...string) gin.HandlerFunc {
	known := map[string]bool{"localhost": true}
	for _, n := range names {
		known[strings.ToLower(n)] = true
	}
	return func(ctx *gin.Context) {
		host, ok := hostOf(ctx.Request.Host)
		if _, err := netip.ParseAddr(host); !ok || !known[host] && err != nil {
			turnAway(ctx, http.StatusMisdirectedRequest, "bad_request", "this evenhand does not go by the name that the request asks for",
				"use its address, or start it with --host and the name")
			return
		}
		ctx.Next()
	}
}

// sameOrigin refuses a form that did not come from one of our own pages; what only reads passes.
func (s *server) sameOrigin(ctx *gin.Context) {
	if fromOwnPage(ctx.Request) {
		ctx.Next()
		return
	}
	s.fail(ctx, &screen.Problem{Code: screen.Forbidden, Text: "the form was not sent from a page of this evenhand, so nothing was changed",
		Want: "open the form here and send it again"})
	ctx.Abort()
}

var crossOrigin = http.NewCrossOriginProtection()

// fromOwnPage reports whether a request may change something. Browsers say themselves where a form
// comes from, in Sec-Fetch-Site or, on plain http in a local network, in Origin. The API lets programs
// pass that send neither; a form with neither is refused, and so is one from the unprotected page of the
// same name, on whose word one cannot rely.
func fromOwnPage(r *http.Request) bool {
	switch r.Method {
	case http.MethodGet, http.MethodHead, http.MethodOptions:
		return true
	}
	if crossOrigin.Check(r) != nil {
		return false
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" {
		return site == "same-origin"
	}
	origin, err := url.Parse(r.Header.Get("Origin"))
	return err == nil && strings.EqualFold(origin.Host, r.Host) && origin.Host != "" && (r.TLS == nil || origin.Scheme == "https")
}
