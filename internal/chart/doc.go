// Package chart turns scores into pictures: options for the embedded drawing script as plain JSON, a
// sentence that says what the picture shows, and a table of the same numbers. It is pure. It may use
// screen and score, and it alone knows the library that the options are built with.
//
// An option is complete in itself: no functions, no markup, no animation, and no colour outside the
// palette, so that a page can turn it to its dark theme by exchanging the palette's strings. Colour
// never stands alone: deficit is a solid fill, unsettled is hatched, clear is an outline.
package chart
