//go:build race

package store

// crashRounds is small: the processes, too, run slowly with the detector.
const crashRounds = 3
