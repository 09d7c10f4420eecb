package scenario

import (
	"farbay/cmd/farbay/scenery"
	"farbay/journal"
)

// bramble has just arrived; its scope is being settled.
var bramble = buildStory{
	nickname: "Bramble",
	truck:    journal.Truck{Year: 1969, Make: "Tolland", Model: "open tub", Serial: "TL-4471-69", Odometer: 67055, Unit: "miles", Colour: "Not chosen yet"},
	paint:    scenery.Truck{Seed: 53, Body: scenery.OpenTub, Topcoat: rgb(140, 68, 52), Accent: rgb(220, 214, 198), Make: "Tolland", Model: "Open tub", Serial: "TL-4471-69", Year: 1969, Miles: 67055},
	owner:    casey, lead: pilar, arrived: 2, offered: 1, ready: 190, deposit: dollars(9000),
	scope: "Bramble is taken down to the frame and built back as an open tub for dirt roads: frame blasted and coated, tub mended and painted in a colour that Casey chooses before paint, engine gone through, brakes renewed all round, new wiring.\n\nNot part of it: a hardtop, and a winch.",
	stages: []stageStory{
		{name: "Arrival", value: split(900, 0, 0), opened: 2, ticks: 2, entries: []entryStory{
			{day: 2, hour: 14, minute: 5, by: pilar, text: "Bramble is in. More moss than rust on top, and we have not looked underneath yet.",
				shots: shots(scenery.RustyWhole, scenery.ThreeQuarterFront, scenery.SideRight, scenery.SideLeft, scenery.Rear, scenery.Front, scenery.ThreeQuarterRear)},
			{day: 2, hour: 14, minute: 38, by: pilar, text: "Plates and odometer.", shots: shots(scenery.OdometerPlate, scenery.Detail)},
			{day: 1, hour: 9, minute: 10, by: odd, kind: journal.KindProblem, shopOnly: true, text: "Brakes are seized at the front. It is pushed, not driven, from here on.",
				shots: shots(scenery.RustyWhole, scenery.Front)},
		}},
		{name: "Teardown", value: split(5000, 200, 0)},
		{name: "Re-estimate", value: split(1400, 0, 0)},
		{name: "Body off", value: split(1300, 0, 0)},
		{name: "Fabrication", value: split(5200, 900, 0)},
		{name: "Strip and blast", value: split(1600, 0, 2600)},
		{name: "Frame and coat", value: split(4300, 800, 2400)},
		{name: "Plating", value: split(800, 0, 2000)},
		{name: "Body metal", value: split(12000, 1800, 0)},
		{name: "Paint and liner", value: split(8800, 3500, 0)},
		{name: "Mechanical", value: split(7900, 6200, 1800)},
		{name: "Assembly", value: split(8400, 2000, 0)},
		{name: "Road test", value: split(3600, 300, 0)},
		{name: "Delivery", value: journal.Split{Labour: dollars(600), Delivery: dollars(1900)}},
	},
}
