package web

import "github.com/gin-gonic/gin"

// rosterPages are the pages of this file and those beside it.
var rosterPages = []page{}

func (s *server) rosterRoutes(r *gin.RouterGroup) {
	_ = r
}
