package web

import (
	"net"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/screen"
)

// policy lets a page load only what this server itself serves. Style attributes are allowed because
// the drawing script and the bars' lengths need them; style elements and inline scripts are not.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; " +
	"img-src 'self' data:; connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"

// SecurityHeaders is the middleware for every route, pages and API. The referrer policy is same-origin:
// nothing is told to other hosts, while no-referrer would make browsers send "Origin: null" with our
// own forms, which then could not be told from those of a stranger.
func SecurityHeaders() gin.HandlerFunc {
	return func(ctx *gin.Context) {
		h := ctx.Writer.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(), payment=(), usb=()")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		ctx.Next()
	}
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
		host := ctx.Request.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		host = strings.ToLower(strings.Trim(host, "[]"))
		if !known[host] && net.ParseIP(host) == nil {
			ctx.AbortWithStatus(http.StatusMisdirectedRequest)
			return
		}
		ctx.Next()
	}
}

// sameOrigin refuses a form that did not come from one of our own pages. Browsers say so themselves,
// in Sec-Fetch-Site or, on plain http in a local network, in Origin; a request with neither is refused.
func (s *server) sameOrigin(ctx *gin.Context) {
	if fromOwnPage(ctx.Request) {
		ctx.Next()
		return
	}
	s.fail(ctx, &screen.Problem{Code: screen.Forbidden, Text: "the form was not sent from a page of this evenhand, so nothing was changed",
		Want: "open the form here and send it again"})
	ctx.Abort()
}

func fromOwnPage(r *http.Request) bool {
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" {
		return site == "same-origin"
	}
	origin, err := url.Parse(r.Header.Get("Origin"))
	return err == nil && origin.Host != "" && strings.EqualFold(origin.Host, r.Host)
}
