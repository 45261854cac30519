package web

import "github.com/gin-gonic/gin"

// coursePages are the pages of this file and those beside it.
var coursePages = []page{}

func (s *server) courseRoutes(r *gin.RouterGroup) {}
