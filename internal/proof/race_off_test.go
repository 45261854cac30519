//go:build !race

package proof

const few = false
