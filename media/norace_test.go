//go:build !race

package media

const raceSlowdown = 1
