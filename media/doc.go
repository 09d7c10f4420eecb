// Package media keeps photos and makes what is shown of them.
//
// An original comes in as a stream and is kept byte for byte under its SHA-256
// ([Storage], [Disk]). [Inspect] says what a file is, how large and which way
// up, and what its camera wrote about time and place, before anything is
// decoded. [CaptureTime] turns the camera's claims into one instant with its
// source. [Derive] makes the three JPEGs that people look at: upright, and with
// nothing of the original in them but pixels and an RGB colour profile. [CleanJPEG],
// [FullSize] and [CleanVideo] give an owner the whole photo or video without
// what is private in it; [Poster] takes a still of a video.
//
// Every byte read here was written by somebody else's program. Containers are
// walked by this package, sizes are checked before memory is taken for them,
// and a decoder that panics costs one photo, not the process.
//
// The package knows files and pixels only: no build, no person, no database.
package media
