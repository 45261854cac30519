//go:build race

package proof

// Under the race detector a simulation takes ten times as long: fewer draws, wider tolerances.
const few = true
