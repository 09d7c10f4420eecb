package media

// Plainly is plainly, for the tests outside the package.
var Plainly = plainly
