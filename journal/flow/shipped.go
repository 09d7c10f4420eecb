package flow

import "farbay/journal"

// ShippedPlan returns the plan "Body-off restoration" that every new shop
// starts with and may change: fourteen stages with planned working days, gates
// and cautions. It has no ID yet.
//
// Order: common practice, no source: what is welded to frame and tub is welded
// before either gets its last coat, small parts go out for plating early
// because they are away longest, and the truck is sorted on the road before it
// is handed over. Days: common practice, no source; they add up to about nine
// months, and the road test takes about a tenth of them, which is the share a
// published guide to first drives after a restoration keeps for sorting.
//
// Cautions inform the shop and are no advice. Each points to those who know:
// the product's data sheet, the local code, the licensed trade. What
// each rests on stands above it.
func ShippedPlan() journal.Plan {
	return journal.Plan{Name: "Body-off restoration", Stages: []journal.PlanStage{
		{
			Name: "Arrival", PlannedDays: 2,
			Gate: gate(16,
				"All four sides, roof, underside and engine bay photographed as it came",
				"Data plates, serial number and odometer photographed and typed in",
				"Loose parts and belongings listed with the owner's list beside it",
				"Battery disconnected and fluids looked at"),
			Cautions: []string{cautionFuel, cautionBattery},
		},
		{
			Name: "Teardown", PlannedDays: 8, Teardown: true,
			Gate: gate(40,
				"Every assembly photographed before and during",
				"Fasteners bagged and labelled, worn ones kept as patterns",
				"Fuel drained and the tank stored safely"),
			Cautions: []string{cautionFuel, cautionSprings, cautionDust, cautionBattery},
		},
		{
			Name: "Re-estimate", PlannedDays: 4,
			Gate: gate(12,
				"Frame, floors, sills, pillars and mounts looked at, each graded",
				"Every defect photographed with a scale and its place",
				"What changes the price or the date written up for the owner"),
			Cautions: []string{cautionLead},
		},
		{
			Name: "Body off", PlannedDays: 2,
			Gate: gate(8,
				"Door openings braced",
				"Every line, wire and filler neck seen free before the lift",
				"Tub on its stand, mounts photographed from both sides"),
			Cautions: []string{cautionLifting, cautionFuel},
		},
		{
			Name: "Fabrication", PlannedDays: 12,
			Gate: gate(10,
				"Engine, gearbox and axle mounts tried in place",
				"Brackets, crossmembers and tabs welded before any coat",
				"Frame measured corner to corner and written down"),
			Cautions: []string{cautionHotWork, cautionLifting},
		},
		{
			Name: "Strip and blast", PlannedDays: 8,
			Gate: gate(12,
				"Threads, plates and machined faces masked",
				"Bare metal photographed all round before it rusts again",
				"Pieces counted out and counted back"),
			Cautions: []string{cautionBlasting, cautionLead, cautionStripper},
		},
		{
			Name: "Frame and coat", PlannedDays: 15,
			Gate: gate(16,
				"Cracks and thin places repaired and photographed bare",
				"Welds and the inside of the rails photographed",
				"Threads cleaned out after the coat",
				"Earth points bare"),
			Cautions: []string{cautionHotWork, cautionPaint, cautionOven, cautionSprings},
		},
		{
			Name: "Plating", PlannedDays: 20,
			Gate: gate(6,
				"Each tray photographed and counted before it leaves, the count initialled by the plater",
				"Counted back and compared with the photograph",
				"Springs and high-strength fasteners kept out, or plated to a written specification"),
			Cautions: []string{cautionPlating, cautionHydrogen},
		},
		{
			Name: "Body metal", PlannedDays: 30,
			Gate: gate(24,
				"Cut-outs and patches photographed before they are covered",
				"Doors, hood and tailgate hung, gaps measured and written down",
				"Seams sealed where the owner has agreed"),
			Cautions: []string{cautionHotWork, cautionLead, cautionLifting},
		},
		{
			Name: "Paint and liner", PlannedDays: 20,
			Gate: gate(16,
				"Colour card agreed by the owner",
				"Film readings taken on every panel",
				"Each coat photographed when dry"),
			Cautions: []string{cautionIsocyanates, cautionPaint},
		},
		{
			Name: "Mechanical", PlannedDays: 25,
			Gate: gate(20,
				"Clearances measured and written down",
				"Fasteners that were torqued marked and photographed",
				"Brake and fuel lines held at pressure without a drop",
				"Charging voltage and earths measured"),
			Cautions: []string{cautionDust, cautionFuel, cautionLifting, cautionBattery, cautionSprings},
		},
		{
			Name: "Assembly", PlannedDays: 25,
			Gate: gate(24,
				"Body mounts torqued and marked",
				"Wires and lines photographed on their way before trim covers them",
				"Lights, horn, wipers and heater tried",
				"Belts and seats fixed to sound metal"),
			Cautions: []string{cautionLifting, cautionGlass, cautionFuel, cautionBattery},
		},
		{
			Name: "Road test", PlannedDays: 18,
			Gate: gate(8,
				"Odometer written down at start and end",
				"Brakes bedded in, pedal, pull and parking brake tried",
				"Wheel nuts, steering and body mounts torqued again after the first drive",
				"No leaks cold and none hot",
				"Gears, low range, hubs and all-wheel drive tried",
				"Every fault on the list put right or agreed with the owner"),
			Cautions: []string{cautionRoad, cautionFuel},
		},
		{
			Name: "Delivery", PlannedDays: 3,
			Gate: gate(16,
				"Condition photographed all round at handover",
				"Replaced parts handed over or let go as the owner wished",
				"Keys, papers and the carrier's sheet handed over"),
			Cautions: []string{cautionLoading, cautionFuel},
		},
	}}
}

func gate(photos int, checks ...string) journal.Gate {
	return journal.Gate{Photos: photos, Checks: checks}
}

const (
	// NIOSH FACE report 11CA006 (a fuel vapour fire while a tank was drained
	// into an open container beside a lamp); 29 CFR 1910.106.
	cautionFuel = "Fuel vapour travels and finds a spark. Drain with a pump made for it into closed approved cans, with the battery off, fresh air, and no lamp, heater or grinder near. Your local fire code says how much may be kept and how."

	// From memory, unchecked: hydrogen at charging, shorts across terminals.
	cautionBattery = "A battery can short, burn and give off explosive gas. Disconnect it first, charge it in fresh air, keep sparks away, and follow its maker's data sheet."

	// From memory, unchecked: energy of compressed coil and leaf springs.
	cautionSprings = "Springs, torsion bars and hood or tailgate struts hold energy that can maim. Use the compressor or restraint their manual names, and keep out of the line they would fly in."

	// 29 CFR 1910.1001 appendix F (mandatory): enclosure with a HEPA filter, low-pressure
	// wet method or equivalent; no dry brushing.
	cautionDust = "Old brake and clutch linings and gaskets may hold asbestos. No air gun, no dry brush: use the enclosed or wet method that your workplace safety rules allow, and dispose of waste as they say."

	// 29 CFR 1910.1025 and 1926.62: permissible exposure 50 micrograms a cubic
	// metre over 8 hours, less over longer shifts.
	cautionLead = "Paint and solder of this age may hold lead. Test before you sand, grind, blast or heat; wash before eating; keep dust off clothes that go home. Workplace lead rules set limits, air tests and blood tests."

	// 29 CFR 1910.184 (slings: looked at each day before use, damaged ones taken
	// away, no knots or makeshift shortening); steep sling angles: at 30 degrees
	// from level each of two legs carries the whole load.
	cautionLifting = "A body or engine can swing, slip or crush. Look over slings and stands each day, lift with rated gear at rated angles, keep a catch under the load, and never put any part of yourself below it. A qualified rigger decides doubtful lifts."

	// From memory, unchecked: 29 CFR 1910.252 (fire prevention in welding) and
	// the fumes of galvanised metal.
	cautionHotWork = "Welding and cutting start fires in hidden places and give off harmful fumes, more so from zinc, plating or old paint. Clear tanks and lines away, strip the metal first, ventilate, and keep a fire watch as your local code asks."

	// 29 CFR 1910.1053: permissible exposure to silica 50 micrograms a cubic
	// metre over 8 hours, action level 25.
	cautionBlasting = "Blasting dust scars lungs for good, and old paint in it poisons. Use media without silica, supplied air and an enclosure, and clean without dry sweeping. Workplace dust rules and the media's data sheet say what is needed."

	// 40 CFR 63 subpart HHHHHH: also covers stripping with methylene chloride.
	cautionStripper = "Paint strippers burn skin and can overcome you in a closed room. Some may not be used at all where you are: read the product's data sheet and your air-quality rules before opening the can."

	// 40 CFR 63 subpart HHHHHH: coatings with cadmium, chromium, lead, manganese
	// or nickel: filtered booth, high-volume low-pressure gun or equal, training.
	cautionPaint = "Primers and colours may hold chromium, lead or other metals, and their solvents burn. Spray in a filtered booth with a trained painter, as the product's data sheet and your air-quality and fire rules ask."

	// Common practice, no source.
	cautionOven = "A sealed or oily hollow can burst or burn in a curing oven. Drain, degas and open every hollow part and take out rubber, fluids and struts; the coater's own rules decide what goes in."

	// 29 CFR 1910.1026 (hexavalent chromium), the figures from memory; chromate
	// films on old yellow zinc: a finishing trade forum.
	cautionPlating = "Plating baths and old yellow zinc films hold poisons, hexavalent chromium among them. Leave stripping and plating to a licensed plater, and handle old plated parts with gloves."

	// A fastener maker's note: plated fasteners of property class 8.8 and above,
	// or harder than 320 HV, need baking, and some risk stays.
	cautionHydrogen = "Plating can make hard fasteners and springs brittle, so that they break later without warning. Buy new rated ones, or have them plated and baked to a written specification by a plater who does such work."

	// NIOSH Alert of September 2006 on spray-on truck bed liner (asthma and
	// death from MDI; a fatal case in 2003). In Washington State's record of
	// asthma from isocyanates six people had not handled the product themselves.
	cautionIsocyanates = "Two-part paint and liner give off isocyanates: one exposure can bring asthma for life, even to bystanders. Only the fitted-out, trained painter is in the booth; photograph from outside or when it is cured. Follow the product's data sheet and workplace rules."

	// Common practice, no source.
	cautionGlass = "Glass breaks under a twist, and toughened glass at the lightest knock on its edge. Gloves, eye cover and two people; urethane needs the temperature and waiting time on its data sheet before the truck is moved."

	// Common practice, no source.
	cautionRoad = "An untried truck can lose brakes, steering or a wheel. Prove brakes and steering in the yard, then short loops with a second person, insured and plated as the law where you drive asks, with an extinguisher on board."

	// Common practice, no source.
	cautionLoading = "Trucks roll and ramps slip. Chock, winch and tie down to rated points with nobody below the ramp; the carrier's own rules and load limits decide."
)
