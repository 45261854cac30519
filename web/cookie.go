package web

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"evenhand/internal/office"
)

// cookieName is that of the session's cookie. Over TLS the prefix makes browsers take it only from this
// very host, with Secure and for every path (RFC 6265bis, section 4.1.3.2).
func cookieName(r *http.Request) string {
	if r.TLS != nil {
		return "__Host-evenhand"
	}
	return "evenhand"
}

// sessionCookie is the secret of the session that a request belongs to; empty: of none.
func sessionCookie(r *http.Request) string {
	c, err := r.Cookie(cookieName(r))
	if err != nil {
		return ""
	}
	return c.Value
}

// setSession gives the browser the cookie of a session that has just begun. Lax lets a link in a message
// lead into a page of somebody who is signed in; forms of strangers are refused by sameOrigin.
func setSession(ctx *gin.Context, in office.SignedIn) {
	c := cookie(ctx.Request, in.Cookie) //nolint:gosec // as below
	c.Expires = in.Expires
	http.SetCookie(ctx.Writer, c)
}

// clearSession takes the cookie away.
func clearSession(ctx *gin.Context) {
	c := cookie(ctx.Request, "") //nolint:gosec // as below
	c.MaxAge = -1
	http.SetCookie(ctx.Writer, c)
}

func cookie(r *http.Request, value string) *http.Cookie {
	//nolint:gosec // Secure wherever the request came by TLS: a laptop in a gym may serve without
	return &http.Cookie{Name: cookieName(r), Value: value, Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteLaxMode}
}
