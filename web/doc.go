// Package web serves the pages: server-rendered HTML that works without script, one style sheet, and
// a small module that draws charts from the options that the JSON API gives. No business rule lives
// here: what is shown was decided by the clinic and the score, and is only put into words and order.
package web
