package scenario

import (
	"farbay/cmd/farbay/scenery"
	"farbay/journal"
	"farbay/journal/billing"
)

// juniper is in paint; body metal has just closed and its invoice is unpaid.
var juniper = buildStory{
	nickname: "Juniper",
	truck:    journal.Truck{Year: 1966, Make: "Calder", Model: "one-ton", Serial: "C1T-66-0318", Odometer: 51730, Unit: "miles", Colour: "Blue grey, oyster roof"},
	paint:    scenery.Truck{Seed: 23, Body: scenery.Wagon, Topcoat: rgb(84, 112, 138), Accent: rgb(226, 220, 206), Make: "Calder", Model: "One-ton", Serial: "C1T-66-0318", Year: 1966, Miles: 51730},
	owner:    renny, lead: pilar,
	scope:   "A body-off restoration to driving order: frame blasted and coated, body mended and painted blue grey with an oyster roof, engine and drivetrain rebuilt, new wiring, new glass seals. The bed wood is renewed in oak.\n\nThe heater stays as it is.",
	arrived: 178, agreed: 174, ready: 74, deposit: dollars(15000), holdback: 500,
	terms: func(t *billing.Terms) {
		t.HoldbackCap, t.HourRate, t.MarkUp, t.BillDays, t.LateAsks = "California, private works", dollars(95), 1500, []int{1, 15}, true
		t.Transport, t.DeliverTo = billing.ShopSends, "Oregon"
	},
	stages: []stageStory{
		{name: "Arrival", value: split(900, 0, 0), opened: 178, closed: 173, paid: 168, entries: []entryStory{
			{day: 178, hour: 13, minute: 25, by: pilar, text: "Juniper is here. It rolled in on three good tyres and one memory of a tyre.",
				shots: shots(scenery.RustyWhole, scenery.ThreeQuarterFront, scenery.SideLeft, scenery.Rear, scenery.SideRight)},
		}},
		{name: "Teardown", value: split(5600, 200, 0), opened: 171, closed: 155, paid: 149, entries: []entryStory{
			{day: 165, hour: 10, minute: 10, by: pilar, text: "Glass, doors and roof off. The roof channel is perfect under ninety coats of sealer.",
				shots: shots(scenery.TornDown, scenery.ThreeQuarterFront, scenery.SideRight, scenery.Rear)},
			{day: 157, hour: 15, minute: 42, by: odd, text: "Sorted, counted and laid out by zone.", shots: shots(scenery.PartsTray, scenery.Detail, scenery.Detail)},
		}},
		{name: "Re-estimate", value: split(1500, 0, 0), opened: 154, closed: 150, paid: 146, entries: []entryStory{
			{day: 152, hour: 9, minute: 50, by: pilar, kind: journal.KindFind, key: "crossmember", text: "The middle crossmember has been welded before, badly, and has cracked beside the weld.",
				shots: []shotStory{{scenery.CrackedBracket, scenery.Detail, false, "Old weld, new crack"}, {scenery.CrackedBracket, scenery.Detail, true, ""}}},
		}},
		{name: "Body off", value: split(1600, 0, 0), opened: 149, closed: 146, paid: 140, entries: []entryStory{
			{day: 147, hour: 11, minute: 5, by: odd, text: "Braced, checked for forgotten wires, and up. Nothing caught.", shots: shots(scenery.BareFrame, scenery.ThreeQuarterFront, scenery.SideLeft)},
		}},
		{name: "Fabrication", value: split(6900, 1400, 0), opened: 145, closed: 129, paid: 124, entries: []entryStory{
			{day: 136, hour: 14, minute: 20, by: odd, text: "New crossmember in, mounts tried with the engine's weight on them. All welding on the frame is done.",
				shots: shots(scenery.BareFrame, scenery.SideRight, scenery.ThreeQuarterRear, scenery.Front)},
		}},
		{name: "Strip and blast", value: split(1800, 0, 3100), opened: 128, closed: 117, paid: 110, entries: []entryStory{
			{day: 119, hour: 9, minute: 35, by: pilar, text: "Back from the blaster, counted in, photographed all round while it is bright.", shots: shots(scenery.BareFrame, scenery.ThreeQuarterFront, scenery.SideRight)},
		}},
		{name: "Frame and coat", value: split(5000, 1000, 2700), opened: 116, closed: 96, paid: 90, entries: []entryStory{
			{day: 98, hour: 16, minute: 0, by: odd, text: "Frame is coated, threads chased, earth points left bare.",
				shots: shots(scenery.FrameCoated, scenery.SideRight, scenery.ThreeQuarterFront, scenery.ThreeQuarterRear, scenery.SideLeft)},
		}},
		{name: "Plating", value: split(900, 0, 2600), opened: 110, closed: 84, paid: 78, entries: []entryStory{
			{day: 85, hour: 10, minute: 45, by: pilar, text: "Two trays back from the plater, 96 out and 96 home.", shots: shots(scenery.PartsTray, scenery.Detail, scenery.Detail)},
		}},
		{name: "Body metal", value: split(16200, 2600, 0), opened: 94, closed: 4, entries: []entryStory{
			{day: 70, hour: 13, minute: 15, by: pilar, text: "Sills and both rear corners are new metal. Cut-outs photographed before they were covered.",
				shots: append([]shotStory{{scenery.RustedFloorPan, scenery.Detail, false, "What came out"}}, shots(scenery.TornDown, scenery.SideLeft, scenery.ThreeQuarterRear)...)},
			{day: 55, hour: 10, minute: 30, by: pilar, text: "Right side is metal all the way down again. Left side next.",
				shots: shots(scenery.TornDown, scenery.SideRight, scenery.ThreeQuarterFront, scenery.Rear)},
			{day: 41, hour: 11, minute: 40, by: pilar, text: "Doors hung and gaps measured: three sixteenths all round, and they stay there when the door is slammed by somebody in a hurry.",
				shots: shots(scenery.TubInPrimer, scenery.SideRight, scenery.SideLeft)},
			{day: 6, hour: 14, minute: 55, by: pilar, text: "Metal is finished and the first primer is on to protect it. That closes the body metal.",
				shots: shots(scenery.TubInPrimer, scenery.ThreeQuarterFront, scenery.SideRight, scenery.Rear, scenery.ThreeQuarterRear)},
		}},
		{name: "Paint and liner", value: split(10400, 4200, 0), opened: 20, ticks: 1, paint: blueGrey, entries: []entryStory{
			{day: 16, hour: 10, minute: 5, by: odd, text: "Colour card from Renny's choice, sprayed on scrap and left in the sun beside the old dashboard.",
				shots: shots(scenery.PaintMixing, scenery.Detail, scenery.Detail)},
			{day: 5, hour: 15, minute: 25, by: odd, text: "Second primer blocked flat. Mixed the first kilo of blue grey by weight.",
				shots: append(shots(scenery.PaintMixing, scenery.Detail), shots(scenery.TubInPrimer, scenery.ThreeQuarterFront, scenery.SideLeft)...)},
			{day: 2, hour: 16, minute: 38, by: pilar, text: "First colour on the tub, taken through the booth window. It is exactly the blue of the card.",
				shots: shots(scenery.Painted, scenery.ThreeQuarterFront, scenery.SideRight, scenery.ThreeQuarterRear, scenery.SideLeft, scenery.Front)},
		}},
		{name: "Mechanical", value: split(8800, 7300, 2100), metered: true, opened: 30, billed: 14, paid: 6, ticks: 1, works: []workStory{
			{day: 26, by: odd, text: "Gearbox out, apart and cleaned", minutes: 375},
			{day: 22, by: odd, text: "Gearbox measured, layshaft dressed", minutes: 420},
			{day: 21, by: odd, text: "Bearings and synchro rings", cost: 61240},
			{day: 17, by: odd, text: "Both axles stripped and inspected", minutes: 510},
			{day: 15, by: pilar, text: "Axle seals, bearings, shims", cost: 48775},
			{day: 12, by: odd, text: "Axles built up and hung on the frame", minutes: 465},
			{day: 7, by: odd, text: "Brake lines bent and fitted", minutes: 330},
			{day: 3, by: odd, text: "Brake cylinders and hoses", cost: 39920},
		}, entries: []entryStory{
			{day: 22, hour: 13, minute: 35, by: odd, text: "Gearbox apart on the bench, everything inside measured and laid out.",
				shots: shots(scenery.PartsTray, scenery.Detail, scenery.Detail, scenery.Detail)},
			{day: 12, hour: 9, minute: 15, by: odd, text: "Axles rebuilt and on the coated frame: a rolling chassis again. Torque marks in yellow on every nut that matters.",
				shots: shots(scenery.RollingChassis, scenery.ThreeQuarterFront, scenery.SideRight, scenery.ThreeQuarterRear)},
		}},
		{name: "Assembly", value: split(10100, 2700, 0)},
		{name: "Road test", value: split(4000, 300, 0)},
		{name: "Delivery", value: journal.Split{Labour: dollars(700), Delivery: dollars(2400)}},
	},
	changes: []changeStory{
		{from: "crossmember", day: 151, title: "Middle crossmember", stage: "Fabrication", days: 2, signed: 150,
			reason: "The crossmember was welded before and has cracked beside the weld. We would cut it out and make a new one.",
			lines:  []lineStory{{journal.Labour, "Cut out, make and weld in", 660, 0}, {journal.Parts, "Formed plate", 0, 18500}}},
		{day: 60, title: "Heater left out", stage: "Mechanical", days: -1, signed: 58,
			reason: "You asked to leave the heater out. This takes its overhaul off the mechanical stage.",
			lines:  []lineStory{{journal.Labour, "Heater overhaul", -240, 0}, {journal.Parts, "Core and hoses", 0, -21000}}},
	},
}
