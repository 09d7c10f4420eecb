//go:build race

package media

// raceSlowdown is how much longer code may take under the race detector, which
// its documentation puts at 2 to 20 times.
const raceSlowdown = 20
