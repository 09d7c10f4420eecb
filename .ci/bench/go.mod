module farbay/bench

go 1.26.0

require farbay v0.0.0

require (
	github.com/disintegration/imaging v1.6.2 // indirect
	github.com/rwcarlsen/goexif v0.0.0-20190401172101-9e8deecbddbd // indirect
	golang.org/x/image v0.47.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
)

replace farbay => ../..
