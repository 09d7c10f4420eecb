// Package scenario is the demo's invented shop: its people, its four builds and
// what happened to them over the last year. It tells the story through the same
// steps that people use, with a clock that walks from the first day to today,
// and hands in drawn photos by the way every photo comes in.
//
// Days are counted back from today in the shop's working days, so that the
// demo is as fresh on every day it is started.
package scenario
