package scenario

import (
	"farbay/cmd/farbay/scenery"
	"farbay/journal"
	"farbay/journal/signoff"
)

// heron is torn down, with finds, one change signed, one declined, and one out
// for sign-off.
var heron = buildStory{
	nickname: "Heron",
	truck:    journal.Truck{Year: 1971, Make: "Ostler", Model: "Fenman, short bed", Serial: "OF7-10442", Odometer: 88412, Unit: "miles", Colour: "Marsh green with a bone roof"},
	paint:    scenery.Truck{Seed: 11, Body: scenery.ShortBed, Topcoat: rgb(58, 98, 74), Accent: rgb(232, 224, 203), Make: "Ostler", Model: "Fenman", Serial: "OF7-10442", Year: 1971, Miles: 88412},
	owner:    ida, delegate: tomas, lead: odd,
	scope:     "Heron is taken down to the bare frame. The frame is blasted, mended where it must be, and powder coated. The body is mended in metal, painted marsh green with a bone roof, and lined underneath.\n\nEngine, gearbox and axles are opened, measured and rebuilt with what measuring shows to be needed. Wiring is renewed by the old colours. Seats and trim are kept and cleaned.\n\nNot part of it: chrome, the radio, and anything found that is not written here.",
	allowance: signoff.Limits{PerFind: dollars(250), PerMonth: dollars(750)},
	arrived:   38, agreed: 36, ready: 150, deposit: dollars(12000), holdback: 0,
	stages: []stageStory{
		{name: "Arrival", value: split(900, 0, 0), opened: 38, closed: 35, paid: 31, entries: []entryStory{
			{day: 38, hour: 10, minute: 12, by: odd, text: "Heron came off the trailer under its own brakes, just. Walked round it with the owner's list: everything on the list is here, and a box of window felts that is not.",
				shots: shots(scenery.RustyWhole, scenery.SideRight, scenery.ThreeQuarterFront, scenery.SideLeft, scenery.Front, scenery.Rear, scenery.ThreeQuarterRear, scenery.ThreeQuarterFront)},
			{day: 38, hour: 10, minute: 47, by: odd, text: "Data plate and odometer as they stand.",
				shots: []shotStory{{scenery.OdometerPlate, scenery.Detail, false, "88,412 on the odometer"}, {scenery.OdometerPlate, scenery.Detail, true, ""}}},
			{day: 37, hour: 15, minute: 20, by: wilma, kind: journal.KindVisit, shopOnly: true, text: "Ida called from the road. She may look in when she is next out this way, not before spring. Tomas can decide when she cannot be reached, she is sending that in writing."},
		}},
		{name: "Teardown", value: split(5200, 300, 0), opened: 34, closed: 14, paid: 9, entries: []entryStory{
			{day: 33, hour: 9, minute: 5, by: pilar, text: "Doors, hood, tailgate and bed off. Every bolt that came out is bagged with its place written on it, the worn ones too.",
				shots: shots(scenery.TornDown, scenery.SideRight, scenery.ThreeQuarterFront, scenery.Rear, scenery.SideLeft)},
			{day: 32, hour: 10, minute: 55, by: odd, text: "Seat, dash and carpet out. Wiring pulled back as one loom and drawn before it was touched.",
				shots: shots(scenery.TornDown, scenery.ThreeQuarterRear, scenery.Front, scenery.SideRight)},
			{day: 31, hour: 14, minute: 40, by: odd, text: "Trays one to nine sorted and counted: 412 fasteners, 38 brackets, 14 clips we will never find again and shall be careful with.",
				shots: shots(scenery.PartsTray, scenery.Detail, scenery.Detail, scenery.Detail)},
			{day: 29, hour: 11, minute: 15, by: pilar, kind: journal.KindFind, key: "toolbox", belonging: "the first owner's toolbox", wish: journal.Keep, wished: 28, text: "Behind the seat, under two layers of carpet: the first owner's toolbox, all there. Keep it with the truck, ship it, or let it go?",
				shots: []shotStory{{scenery.ToolboxFind, scenery.Detail, false, "As we found it"}, {scenery.ToolboxFind, scenery.Detail, true, "Opened"}}},
			{day: 27, hour: 16, minute: 2, by: odd, kind: journal.KindFind, key: "bracket", text: "The left rear spring bracket is cracked half way round the rivet. It has been driven like that for years by the look of the polish in the crack.",
				shots: []shotStory{{scenery.CrackedBracket, scenery.Detail, false, "Left rear, seen from inside"}, {scenery.CrackedBracket, scenery.Detail, true, "The crack with a scale"}}},
			{day: 25, hour: 10, minute: 40, by: odd, kind: journal.KindFind, key: "stop", text: "The right bump stop bracket has a hairline at its fold. Not dangerous yet, and small enough to mend while we are there.",
				shots: []shotStory{{scenery.CrackedBracket, scenery.Detail, false, "Right side, the hairline chalked"}}},
			{day: 23, hour: 10, minute: 30, by: odd, text: "Down to the bare frame. Square within a sixteenth corner to corner, which is better than we feared after the arrival photos.",
				shots: shots(scenery.BareFrame, scenery.SideRight, scenery.ThreeQuarterFront, scenery.ThreeQuarterRear, scenery.SideLeft, scenery.Front)},
			{day: 20, hour: 13, minute: 45, by: pilar, text: "Last of the teardown: axles and engine out, drained, tagged. Nothing left on the frame but rivets.",
				shots: shots(scenery.BareFrame, scenery.ThreeQuarterFront, scenery.Rear, scenery.SideRight)},
		}},
		{name: "Re-estimate", value: split(1400, 0, 0), opened: 13, ticks: 2, entries: []entryStory{
			{day: 12, hour: 9, minute: 30, by: odd, text: "Went over the tub with a light and a pick, zone by zone. Roof, pillars and cowl are sound. The floor is not.",
				shots: shots(scenery.TornDown, scenery.ThreeQuarterRear, scenery.SideLeft, scenery.Front)},
			{day: 4, hour: 11, minute: 8, by: odd, kind: journal.KindFind, key: "pans", text: "Rust has eaten through both front floor pans under the mats, further than the teardown photos showed.",
				shots: []shotStory{{scenery.RustedFloorPan, scenery.Detail, false, "Driver's side, mat lifted"}, {scenery.RustedFloorPan, scenery.Detail, false, "Passenger's side"}, {scenery.RustedFloorPan, scenery.Detail, true, "Daylight through the seam"}}},
			{day: 3, hour: 10, minute: 22, by: pilar, kind: journal.KindFind, key: "tin", belonging: "a tin of fishing flies", text: "Wedged behind the heater: a tin of fishing flies, every one tied by hand. Keep it, ship it, or let it go?",
				shots: []shotStory{{scenery.ToolboxFind, scenery.Detail, false, "Where it was"}}},
			{day: 2, hour: 15, minute: 33, by: pilar, shopOnly: true, text: "Asked two suppliers for pressed pans. One has them on the shelf.",
				shots: shots(scenery.PartsTray, scenery.Detail)},
			{day: 1, hour: 16, minute: 10, by: pilar, text: "Tub on its stand, openings braced, ready to go on as soon as the floor is decided. Meanwhile the small brackets are cleaned and laid out.",
				shots: append(shots(scenery.TornDown, scenery.SideRight, scenery.ThreeQuarterFront), shots(scenery.PartsTray, scenery.Detail, scenery.Detail)...)},
		}},
		{name: "Body off", value: split(1500, 0, 0)},
		{name: "Fabrication", value: split(6400, 1200, 0)},
		{name: "Strip and blast", value: split(1800, 0, 2900)},
		{name: "Frame and coat", value: split(4800, 900, 2600)},
		{name: "Plating", value: split(900, 0, 2400)},
		{name: "Body metal", value: split(14800, 2100, 0)},
		{name: "Paint and liner", value: split(9800, 3900, 0)},
		{name: "Mechanical", value: split(8200, 6700, 1900)},
		{name: "Assembly", value: split(9600, 2400, 0)},
		{name: "Road test", value: split(3800, 300, 0)},
		{name: "Delivery", value: journal.Split{Labour: dollars(700), Delivery: dollars(1850)}},
	},
	uses: []useStory{{from: "stop", day: 25, title: "Right bump stop bracket",
		reason: "The fold is opened, welded and dressed, with a gusset behind it.",
		lines:  []lineStory{{journal.Labour, "Weld and dress the fold", 75, 0}, {journal.Parts, "Gusset plate", 0, 1800}}}},
	changes: []changeStory{
		{from: "bracket", day: 26, title: "Left rear spring bracket", stage: "Fabrication", days: 1, signed: 25,
			reason: "The bracket is cracked half way round its rivet and cannot be welded where it sits. We would make a new one from plate to the old one's measure and rivet it as it was.",
			lines:  []lineStory{{journal.Labour, "Make and fit the bracket", 300, 0}, {journal.Parts, "Plate and rivets", 0, 6400}}},
		{from: "toolbox", day: 19, title: "Refinish the first owner's toolbox", stage: "Paint and liner", days: 0, declined: 18,
			reason: "While the colour is mixed we could paint the toolbox with the truck.", why: "Leave it as he left it. Keep it with the truck, please.",
			lines: []lineStory{{journal.Labour, "Strip and paint the box", 180, 0}}},
		{from: "pans", day: 3, title: "Both front floor pans", stage: "Body metal", days: 6,
			reason: "Rust has eaten through both pans under the mats, further than the teardown photos showed. We would cut back to sound metal and weld in new pressed pans before primer.",
			lines:  []lineStory{{journal.Labour, "Cut out, fit and weld", 1080, 0}, {journal.Parts, "Two pressed pans", 0, 48000}, {journal.Parts, "Seam sealer and weld-through primer", 0, 11200}},
			asks:   []askStory{{day: 2, text: "Can the old pans be patched instead, and what would that save?", answered: 1, answer: "They can, for about 600 less. But a patch in that spot is hidden by the mat and holds water at its edge, and we would be back in there in ten years. We would not do it on our own truck."}}},
	},
}
