// Package stat holds the statistics that the general numerical library lacks: the bivariate normal
// distribution, the rank-1 lattice for multivariate normal events, small Gaussian updates, and the
// published side-to-side indices. It knows no other package of evenhand and takes no clock and no
// random source.
package stat
