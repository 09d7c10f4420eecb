//go:build !race

package billing

// underRace reports whether the race detector looks on, which makes everything
// several times slower.
const underRace = false
