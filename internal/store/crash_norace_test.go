//go:build !race

package store

const crashRounds = 50
