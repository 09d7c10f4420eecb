module farbay/bench

go 1.26.0

require farbay v0.0.0

require (
	github.com/disintegration/imaging v1.6.2 // indirect
	github.com/kovidgoyal/go-parallel v1.1.1 // indirect
	github.com/kovidgoyal/imaging v1.9.0 // indirect
	github.com/rwcarlsen/goexif v0.0.0-20190401172101-9e8deecbddbd // indirect
	github.com/tetratelabs/wazero v1.12.0 // indirect
	golang.org/x/image v0.47.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
)

replace farbay => ../..
