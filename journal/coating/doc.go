// Package coating reckons paint: a formula weighed out on a scale, what to top up
// after too much was poured, how much paint, liner or powder an area takes, and
// how thick a given amount comes out. It also holds what the shop records of it.
//
// The package is pure: no clock, no disk. It informs; the product's data sheet
// decides about mixing, thinning and film thickness.
//
// # Numbers
//
// Weights on the scale are whole tenths of a gram ([Weight]) and typed figures
// whole thousandths ([Milli]); everything about a formula is reckoned exactly, in
// integers of any size, and rounded once, half up, to the scale's step. Film
// build works on physical quantities that nobody is charged for: it uses floating
// point, and [Round] gives three significant figures to show.
//
// # Formula by weight
//
// A formula has n components with parts a(i). By weight, a component's share is
// s(i) = a(i); by volume it is s(i) = a(i) x density(i). With S the sum of all
// shares and A the amount wanted in grams, the scale is to show, after the first k
// components,
//
//	C(k) = A x (s(1) + ... + s(k)) / S, rounded to the step
//
// and each pour is C(k) - C(k-1), so that the last reading is exactly A and no
// reading is off by more than half a step. Rounding each pour alone would let the
// total drift by half a step for each component. An amount wanted by volume V weighs
// V x S / (sum of all a(i)).
// Source: that formula sheets give a cumulative weight beside each single one, and
// that pouring one as the other spoils the batch, is common practice, no source;
// rounding the cumulative weights is our own choice.
//
// # Too much poured
//
// Nothing can be taken out of a cup, so the others are topped up: with p(i) what is
// in the cup, the smallest batch of the right ratio that contains it weighs
//
//	T = the largest of p(i) x S / s(i)
//
// and each component is brought to T x s(i) / S, rounded to the step on its own: as
// p(i) is a whole number of steps, that never falls below p(i), and each is within
// half a step of its share. The new total is the sum of these. Who finds it close
// enough leaves it as it is; the record then shows by how much it is off.
// Source: our own derivation.
//
// # Film build
//
// One litre spreads over 1,000 m2 at 1 um, one gallon (231 in3) over 231 x 1000 /
// 144 = 1,604.17 ft2 at 1 mil. With VS the volume solids, TE the share of the paint
// that reaches the work (1 less the loss), DFT the dry film, t the thinner as a
// share of the paint's volume:
//
//	spread  = 1000 m2.um/L x VS x TE / DFT
//	paint   = area / spread, before thinning; thinner = t x paint
//	wet     = DFT x (1 + t) / VS
//	dry     = wet x VS / (1 + t), or litres x VS x TE x 1000 / area
//	mass    = litres x density
//
// Source: 1,604 and the formula: ronjoseph.com H1002, geionline.com; the metric form
// and both worked examples: a paint maker's sheet on spreading rate, scribd.com
// 343849341, which prints 100 in its formula and reckons with 1,000; wet film:
// scribd.com 104802451, unthinned example only, its thinned ones being garbled.
//
// A liner is a paint of its own volume solids, 100 % if its data sheet gives none
// less. Source: spray-lining.net, sprayliningandcoatings.com.
//
// # Powder
//
// A pound of specific gravity SG covers, at a film of d mil and a share TE that stays
// on the work,
//
//	192.22 ft2.mil/lb x TE / (SG x d)
//
// 192.22 follows from water at 1 g/cm3 and the exact units below; the trade writes
// 192.3 or 192.4, from 62.4 lb/ft3. Source: coatechcoatings.com,
// powdercoatingonline.com; powdercoatedtough.com has 192.4.
//
// # Units
//
// Exact: 1 in = 25.4 mm, so 1 mil = 25.4 um and 1 ft = 304.8 mm; 1 lb = 453.59237 g;
// 1 gal = 231 in3 = 3.785411784 L; 1 fl oz = 1/128 gal. Source: NIST Special
// Publication 811, appendix B; NIST Handbook 44, appendix C.
package coating
