package proof

import (
	"math/rand/v2"
	"runtime"
	"sync"
)

// chunk is how many draws share one generator. It is fixed, so that a result does not depend on how
// many cores there are.
const chunk = 100

// Settings of one simulation.
type Settings struct {
	Draws int
	Seed  uint64
}

// draw splits the draws into chunks, each with a generator of its own, runs them on all cores and adds
// the parts up in the order of the chunks.
func draw[T any](set Settings, run func(rng *rand.Rand, n int) T, add func(sum, part T) T) T {
	chunks := (set.Draws + chunk - 1) / chunk
	parts := make([]T, chunks)
	next := make(chan int, chunks)
	for i := range chunks {
		next <- i
	}
	close(next)
	var all sync.WaitGroup
	for range min(chunks, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for i := range next {
				parts[i] = run(rand.New(rand.NewPCG(set.Seed, uint64(i))), min(chunk, set.Draws-i*chunk))
			}
		})
	}
	all.Wait()
	var sum T
	for i := range parts {
		sum = add(sum, parts[i])
	}
	return sum
}
