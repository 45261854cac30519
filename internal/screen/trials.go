package screen

// Variances of the median and of the best of k standard normal trials, and the expected excess of the
// best over the mean, k = 1 … 6. Order statistics of the normal distribution (Teichroew D. Ann Math
// Stat 1956;27:410-426; values from memory, checked by integration in the tests).
var (
	medianShare = [...]float64{0, 1, 0.5, 0.4487, 0.2982, 0.2868}
	bestShare   = [...]float64{0, 1, 0.6817, 0.5595, 0.4917, 0.4475, 0.4159}
	bestExcess  = [...]float64{0, 0, 0.5642, 0.8463, 1.0294, 1.1630, 1.2672}
)

// Share is g(k): the part of the trials' variance that the value of a reading with k ≥ 1 trials has, as
// they are combined. Beyond the tables a reading is taken as the mean of its trials.
func (t *Trials) Share(k int) float64 {
	switch {
	case t.Combine == Median && k < len(medianShare):
		return medianShare[k]
	case t.Combine == Best && k < len(bestShare):
		return bestShare[k]
	}
	return 1 / float64(k)
}

// AsMean reports whether a reading with k trials is taken as their mean, whatever the protocol says.
func (t *Trials) AsMean(k int) bool {
	return t.Combine != Median && t.Combine != Best || t.Combine == Median && k >= len(medianShare) || t.Combine == Best && k >= len(bestShare)
}

// BestExcess is by how many standard deviations of a trial the best of k trials is expected to exceed
// their mean, 1 ≤ k ≤ 6.
func BestExcess(k int) float64 { return bestExcess[k] }
