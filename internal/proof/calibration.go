package proof

import "math"

// Bin is one tenth of the probabilities said: how many there were, their sum, and how many of the
// events came true.
type Bin struct {
	N, True int
	Sum     float64
}

// Said is the mean probability said.
func (b *Bin) Said() float64 { return ratio(b.Sum, float64(b.N)) }

// Came is the share that came true.
func (b *Bin) Came() float64 { return share(b.True, b.N) }

// Calibration compares probabilities with what came true, by tenths: [0, 0.1), … [0.9, 1].
type Calibration [10]Bin

func (c *Calibration) see(p float64, came bool) {
	b := &c[min(9, int(10*p))]
	b.N++
	b.Sum += p
	if came {
		b.True++
	}
}

func (c *Calibration) add(o *Calibration) {
	for i := range c {
		c[i].N += o[i].N
		c[i].True += o[i].True
		c[i].Sum += o[i].Sum
	}
}

// N is how many probabilities there were.
func (c *Calibration) N() int {
	n := 0
	for i := range c {
		n += c[i].N
	}
	return n
}

// Worst is the largest distance between said and came among the tenths with at least so many, and the
// number of such tenths.
func (c *Calibration) Worst(least int) (off float64, tenths int) {
	for i := range c {
		if b := &c[i]; b.N >= least {
			off = max(off, math.Abs(b.Said()-b.Came()))
			tenths++
		}
	}
	return off, tenths
}

func ratio(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}

func share(a, n int) float64 { return ratio(float64(a), float64(n)) }

// MonteCarlo is the standard error of a share p of n draws.
func MonteCarlo(p float64, n int) float64 {
	if n == 0 {
		return 0
	}
	return math.Sqrt(p * (1 - p) / float64(n))
}
