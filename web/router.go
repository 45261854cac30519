package web

import "github.com/gin-gonic/gin"

// NewRouter is the router that pages and API are registered on: without logs, which would hold
// addresses and ids, without a debug mode, and deaf to names other than those given (see KnownHosts).
func NewRouter(names ...string) *gin.Engine {
	gin.SetMode(gin.ReleaseMode)
	r := gin.New()
	r.Use(KnownHosts(names...))
	return r
}
