package scenario

import (
	"farbay/cmd/farbay/scenery"
	"farbay/journal"
)

// oldSalt is delivered and paid.
var oldSalt = buildStory{
	nickname: "Old Salt",
	truck:    journal.Truck{Year: 1978, Make: "Ostler", Model: "Packer", Serial: "OP8-22017", Odometer: 132904, Unit: "miles", Colour: "Rope yellow, white roof"},
	paint:    scenery.Truck{Seed: 37, Body: scenery.LongBed, Topcoat: rgb(203, 160, 84), Accent: rgb(240, 237, 228), Make: "Ostler", Model: "Packer", Serial: "OP8-22017", Year: 1978, Miles: 32904},
	owner:    bodil, lead: odd,
	scope:   "Old Salt is taken apart, freed of salt and rust, and built back as it left the factory, in rope yellow with a white roof. Engine and gearbox are rebuilt; everything that the sea has eaten is replaced.",
	arrived: 246, agreed: 242, ready: -16, deposit: dollars(10000), delivery: 13,
	stages: []stageStory{
		{name: "Arrival", value: split(800, 0, 0), opened: 246, closed: 241, paid: 236, entries: []entryStory{
			{day: 246, hour: 11, minute: 30, by: odd, text: "Old Salt, straight from the coast. There is sand in everything.",
				shots: shots(scenery.RustyWhole, scenery.SideRight, scenery.ThreeQuarterRear, scenery.Front, scenery.SideLeft)},
		}},
		{name: "Teardown", value: split(4800, 200, 0), opened: 240, closed: 228, paid: 222, entries: []entryStory{
			{day: 232, hour: 14, minute: 15, by: pilar, text: "All apart and bagged. Half a bucket of sand kept for Bodil.", shots: shots(scenery.TornDown, scenery.SideRight, scenery.ThreeQuarterFront)},
		}},
		{name: "Re-estimate", value: split(1300, 0, 0), opened: 227, closed: 223, paid: 218, entries: []entryStory{
			{day: 225, hour: 10, minute: 20, by: odd, kind: journal.KindFind, key: "salt-pans", text: "Rear floor gone at the wheel arches. The front is sound.",
				shots: []shotStory{{scenery.RustedFloorPan, scenery.Detail, false, "Left arch"}, {scenery.RustedFloorPan, scenery.Detail, true, "Right arch"}}},
		}},
		{name: "Body off", value: split(1400, 0, 0), opened: 222, closed: 219, paid: 214, entries: []entryStory{
			{day: 220, hour: 10, minute: 25, by: odd, text: "Tub up and on its stand. The frame had not seen daylight since the seventies.", shots: shots(scenery.BareFrame, scenery.SideLeft, scenery.ThreeQuarterRear)},
		}},
		{name: "Fabrication", value: split(4900, 700, 0), opened: 218, closed: 204, paid: 199, entries: []entryStory{
			{day: 208, hour: 13, minute: 0, by: odd, text: "Frame measured, boxed where it was thin, all mounts tried.", shots: shots(scenery.BareFrame, scenery.ThreeQuarterFront, scenery.SideRight)},
		}},
		{name: "Strip and blast", value: split(1500, 0, 2700), opened: 203, closed: 193, paid: 188, entries: []entryStory{
			{day: 194, hour: 15, minute: 50, by: pilar, text: "Blasted, counted back in, photographed before it could think of rusting.", shots: shots(scenery.BareFrame, scenery.SideRight, scenery.Front, scenery.ThreeQuarterFront)},
		}},
		{name: "Frame and coat", value: split(4100, 800, 2300), opened: 192, closed: 174, paid: 168, entries: []entryStory{
			{day: 176, hour: 15, minute: 10, by: pilar, text: "Coated. Black, satin, and dry inside the rails too.", shots: shots(scenery.FrameCoated, scenery.ThreeQuarterFront, scenery.SideRight, scenery.Rear)},
		}},
		{name: "Plating", value: split(800, 0, 2100), opened: 188, closed: 162, paid: 157, entries: []entryStory{
			{day: 163, hour: 11, minute: 10, by: pilar, text: "Three trays home from the plater, every count right.", shots: shots(scenery.PartsTray, scenery.Detail, scenery.Detail, scenery.Detail)},
		}},
		{name: "Body metal", value: split(11800, 1700, 0), opened: 173, closed: 132, paid: 126, entries: []entryStory{
			{day: 134, hour: 16, minute: 25, by: pilar, text: "Arches and rear floor are new metal, and the tub is in primer.", shots: shots(scenery.TubInPrimer, scenery.ThreeQuarterRear, scenery.SideRight, scenery.SideLeft)},
		}},
		{name: "Paint and liner", value: split(8700, 3600, 0), opened: 131, closed: 103, paid: 97, entries: []entryStory{
			{day: 112, hour: 11, minute: 55, by: odd, text: "Rope yellow, three coats.", shots: shots(scenery.Painted, scenery.SideRight, scenery.ThreeQuarterFront, scenery.ThreeQuarterRear)},
			{day: 105, hour: 14, minute: 30, by: odd, text: "Liner sprayed and cured before anybody went near it with a camera.", shots: shots(scenery.LinerSprayed, scenery.ThreeQuarterRear, scenery.Rear)},
		}},
		{name: "Mechanical", value: split(7600, 6100, 1700), opened: 130, closed: 90, paid: 85, entries: []entryStory{
			{day: 95, hour: 10, minute: 40, by: odd, text: "Rolling chassis, engine in, first cough and then a steady idle.", shots: shots(scenery.RollingChassis, scenery.SideRight, scenery.ThreeQuarterFront)},
		}},
		{name: "Assembly", value: split(8800, 2100, 0), opened: 89, closed: 50, paid: 45, entries: []entryStory{
			{day: 74, hour: 12, minute: 5, by: pilar, text: "Body on frame. It came down on all eight mounts at the first try.", shots: shots(scenery.BodyOnFrame, scenery.SideRight, scenery.ThreeQuarterFront, scenery.SideLeft)},
			{day: 52, hour: 17, minute: 0, by: pilar, text: "Trim, lamps and glass in. This is the first time it looks like itself.", shots: shots(scenery.Finished, scenery.ThreeQuarterFront, scenery.SideRight, scenery.Rear)},
		}},
		{name: "Road test", value: split(3500, 200, 0), opened: 49, closed: 22, paid: 18, entries: []entryStory{
			{day: 44, hour: 10, minute: 0, by: odd, kind: journal.KindRoadTest, text: "First loop, eleven miles, no surprises. A weep at the rear pinion when hot.", shots: shots(scenery.RoadTest, scenery.SideRight, scenery.ThreeQuarterFront)},
			{day: 30, hour: 9, minute: 45, by: odd, kind: journal.KindRoadTest, text: "Two hundred miles since the new seal: dry. Everything torqued again.", shots: shots(scenery.RoadTest, scenery.ThreeQuarterRear, scenery.SideLeft, scenery.ThreeQuarterFront)},
		}},
		{name: "Delivery", value: journal.Split{Labour: dollars(600), Delivery: dollars(2100)}, opened: 17, closed: 13, paid: 10, entries: []entryStory{
			{day: 14, hour: 8, minute: 50, by: wilma, text: "Washed, photographed all round, the box of old parts strapped in the bed.", shots: shots(scenery.Finished, scenery.SideRight, scenery.SideLeft, scenery.ThreeQuarterFront, scenery.ThreeQuarterRear, scenery.Front, scenery.Rear)},
			{day: 13, hour: 9, minute: 20, by: wilma, text: "On the trailer and away. Thank you, Bodil; send us a picture from the beach.", shots: shots(scenery.DeliveryTrailer, scenery.SideRight, scenery.ThreeQuarterRear)},
		}},
	},
	changes: []changeStory{
		{from: "salt-pans", day: 224, title: "Rear floor at the arches", stage: "Body metal", days: 4, signed: 223,
			reason: "The rear floor is gone at both wheel arches. We would cut back to sound metal and weld in new pieces with the arches.",
			lines:  []lineStory{{journal.Labour, "Cut, form and weld", 1440, 0}, {journal.Parts, "Sheet and arch edges", 0, 39000}}},
	},
}
