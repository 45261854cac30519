package web

import "github.com/gin-gonic/gin"

// squadPages are the pages of this file and those beside it.
var squadPages = []page{}

func (s *server) squadRoutes(r *gin.RouterGroup) {}
