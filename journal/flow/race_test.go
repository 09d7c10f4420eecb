//go:build race

package flow_test

// underRace reports whether the race detector looks on, which makes everything
// several times slower.
const underRace = true
