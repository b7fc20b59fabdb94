package sheets

// sound are machines of which nothing is wrong.
var sound = []Cause{
	{Name: "sound: young oil", Sound: true, ThreeMetals: []string{}, in: engines, age: ages{.15, .5}},
	{Name: "sound: oil of the usual age", Sound: true, ThreeMetals: []string{}, in: engines, age: ages{.8, 1.2}},
	{Name: "sound: over-aged oil, usual wear", Sound: true, ThreeMetals: []string{}, in: engines, age: ages{1.8, 2.5}},
	{Name: "sound: traces alone", Sound: true, ThreeMetals: []string{}, in: petrols, age: ages{.5, 1},
		add: func(o *oil) { // a small clean engine: the results are of the order of the method's error
			for _, m := range []string{"Fe", "Cu", "Pb", "Sn", "Al", "Cr", "Ni"} {
				o.times(m, .1, .6)
			}
		}},
	{Name: "sound: a new cooler leaches copper", Sound: true, Right: []string{"leaching"}, in: diesels, age: ages{.3, 1.2},
		needs: []string{"Cu", "Pb", "Sn", "Al", "Fe"},
		// Of 30,000 truck diesels 95 % were under 167 mg/kg (by a second page).
		add: func(o *oil) { o.v["Cu"] += o.amount(40, 160) }},
	{Name: "sound: run-in on the first fill", Sound: true, in: engines, age: ages{.1, .35}, runIn: true,
		add: func(o *oil) { // casting sand, sealant, assembly paste and the first wear: from memory
			o.mix(silicone, o.between(15, 50))
			o.mix(quartzDust, o.between(0, 12))
			o.mix(grayIron, o.between(15, 60))
			o.mix(tinBronze, o.between(8, 40))
			o.mix(pistonAlloy, o.between(3, 14))
			o.v["Mo"] += o.between(0, 30)
		}},
	{Name: "sound: high but steady by its own past", Sound: true, in: engines, age: ages{.7, 1.3}, past: 5,
		habit: between(1.7, 2.2)},
	{Name: "sound gearbox: young fluid", Sound: true, ThreeMetals: []string{}, in: gearboxes, age: ages{.15, .5}},
	{Name: "sound gearbox: fluid of the usual age", Sound: true, ThreeMetals: []string{}, in: gearboxes, age: ages{.8, 1.2}},
	{Name: "sound gearbox: over-aged fluid, usual wear", Sound: true, ThreeMetals: []string{}, in: gearboxes, age: ages{1.8, 2.5}},
	{Name: "sound gearbox: traces alone", Sound: true, in: gearboxes, age: ages{.2, .6},
		add: func(o *oil) {
			for _, m := range []string{"Fe", "Cu", "Pb", "Sn", "Al", "Cr", "Ni"} {
				o.times(m, .1, .4)
			}
		}},
	{Name: "sound gearbox: run-in on the first fill", Sound: true, in: gearboxes, age: ages{.05, .25}, runIn: true,
		add: func(o *oil) {
			o.mix(gearSteel, o.between(15, 60))
			o.mix(leadedBronze, o.between(15, 70))
			o.mix(castAlloy, o.between(5, 25))
			o.mix(silicone, o.between(3, 20))
		}},
	{Name: "sound gearbox: high but steady by its own past", Sound: true, in: gearboxes, age: ages{.7, 1.3}, past: 5,
		habit: between(1.7, 2.2)},
}
