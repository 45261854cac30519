package web

import (
	"context"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
)

// readyWithin is how long the question whether it can serve may take.
const readyWithin = 5 * time.Second

// RegisterHealth adds what a supervisor asks: whether the program runs, and whether it can serve. Both
// are for everybody and say no more than that; why it cannot serve is in the log.
func RegisterHealth(router *gin.Engine, ready func(context.Context) error) {
	answer := func(path string, ok string, check func(context.Context) error) {
		h := func(ctx *gin.Context) {
			within, cancel := context.WithTimeout(ctx.Request.Context(), readyWithin)
			defer cancel()
			if check(within) != nil {
				ctx.String(http.StatusServiceUnavailable, "not ready\n")
				return
			}
			ctx.String(http.StatusOK, ok+"\n")
		}
		router.GET(path, h)
		router.HEAD(path, h)
	}
	answer("/health/live", "running", func(context.Context) error { return nil })
	answer("/health/ready", "ready", ready)
}
