package media_test

import (
	"bytes"
	"context"
	"image/color"
	"testing"
	"time"

	"farbay/cmd/farbay/scenery"
	"farbay/media"
)

// TestAlike_DrawnPhotos: the demo's photos of one truck, which are all of one
// light and one workshop, are told apart by view and state. Those of one state
// and view, taken from a step aside, need not be alike; none is asked to be.
func TestAlike_DrawnPhotos(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: drawing takes seconds")
	}
	if media.Plainly(t) {
		return
	}
	truck := scenery.Truck{
		Seed: 7, Body: scenery.ShortBed, Topcoat: color.RGBA{20, 90, 120, 255}, Accent: color.RGBA{240, 240, 240, 255},
		Make: "Ostler", Model: "Juniper", Serial: "OS-1", Year: 1974, Miles: 1234,
	}
	type drawn struct {
		name string
		hash uint64
	}
	var all []drawn
	for _, state := range []scenery.State{scenery.TornDown, scenery.FrameCoated, scenery.RustedFloorPan, scenery.PaintMixing, scenery.RoadTest} {
		for _, view := range []scenery.View{scenery.SideRight, scenery.ThreeQuarterFront} {
			shot := scenery.Shot{Truck: truck, State: state, View: view, At: time.Date(2026, 3, 2, 15, 4, 5, 0, time.UTC)}
			b, err := shot.JPEG()
			if err != nil {
				t.Fatal(err)
			}
			info, err := media.Inspect(bytes.NewReader(b), int64(len(b)))
			if err != nil {
				t.Fatal(err)
			}
			one := drawn{name: state.String() + " from " + view.String()}
			err = media.Derive(context.Background(), bytes.NewReader(b), info, func(d media.Derivative) error {
				one.hash = d.Hash
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			for _, other := range all {
				if media.Alike(one.hash, other.hash) {
					t.Errorf("%s and %s are alike: %d bits away", one.name, other.name, media.Distance(one.hash, other.hash))
				}
			}
			all = append(all, one)
		}
	}
}
