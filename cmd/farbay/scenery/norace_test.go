//go:build !race

package scenery

const underRace = false
