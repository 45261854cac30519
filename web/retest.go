package web

import "github.com/gin-gonic/gin"

// retestPages are the pages of this file and those beside it.
var retestPages = []page{}

func (s *server) retestRoutes(r *gin.RouterGroup) {}
