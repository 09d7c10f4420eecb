//go:build race

package scenery

// underRace thins the test of every state from every view: the detector makes
// drawing some ten times slower, and what it looks for, photos drawn at the
// same time, has a test of its own.
const underRace = true
