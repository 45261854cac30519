package web

import "github.com/gin-gonic/gin"

// handoutPages are the pages of this file and those beside it.
var handoutPages = []page{}

func (s *server) handoutRoutes(r *gin.RouterGroup) {
	_ = r
}
