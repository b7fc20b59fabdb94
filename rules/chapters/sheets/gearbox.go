package sheets

// gearboxFaults are what goes wrong in automatic transmissions.
var gearboxFaults = []Cause{
	{Name: "gearbox: bushings and clutches", Right: []string{"bronze", "clutch"}, Also: []string{"copper", "lead", "tin", "iron", "steel", "bearing"}, ThreeMetals: []string{"copper", "iron", "metal"},
		in: gearboxes, age: anyAge, needs: []string{"Cu", "Sn", "Pb", "Fe"},
		add: func(o *oil) { o.mix(leadedBronze, o.amount(110, 300)); o.mix(gearSteel, o.amount(60, 200)) }},
	{Name: "gearbox: gears and races", Right: []string{"steel", "iron"}, Also: []string{"chromium", "clutch"}, ThreeMetals: []string{"metal"},
		in: gearboxes, age: anyAge, needs: []string{"Fe", "Cr", "Ni"},
		add: func(o *oil) { o.mix(bearingSteel, o.amount(100, 250)); o.mix(gearSteel, o.amount(80, 250)) }},
	{Name: "gearbox: housing or converter", Right: []string{"aluminium"}, Also: []string{"silicon", "copper"},
		in: gearboxes, age: anyAge, needs: []string{"Al", "Si"},
		add: func(o *oil) { o.mix(castAlloy, o.amount(70, 220)) }},
	{Name: "gearbox: burnt fluid", Right: []string{"oxidised", "acid"}, Also: []string{"thin", "thick", "clutch", "aged", "copper"},
		in: gearboxes, age: ages{.5, 2.5}, needs: []string{"TAN", "oxidation", "KV100"},
		add: func(o *oil) {
			o.v["TAN"] += o.between(2, 4.5)
			o.v["oxidation"] += o.between(15, 35)
			o.v["nitration"] += o.between(3, 12)
			o.times("KV100", .9, 1.15)
		}},
	{Name: "gearbox: coolant", Danger: true, Right: []string{"coolant"}, Also: []string{"salt", "water"},
		in: gearboxes, age: anyAge, needs: []string{"Na", "K", "glycol"},
		add: func(o *oil) {
			o.mix(silicateCoolant, o.amount(30, 140))
			o.set("glycol", .1, 1)
			o.v["water"] += o.between(.05, .6)
		}},
	{Name: "gearbox: wrong fluid", Right: []string{"other oil"}, Also: []string{"swapped", "thin", "thick"},
		in: gearboxes, age: ages{1. / 3, 1.5}, needs: []string{"P", "Ca", "B", "Zn"},
		add: func(o *oil) { o.blend(o.oneOf(otherATF, hydraulic, tractorOil), o.between(.6, .97)) }},
	{Name: "gearbox: dirt", Right: []string{"dust"}, Also: []string{"silicon", "iron", "aluminium"}, ThreeMetals: []string{"sealant", "silicon", "metal"},
		in: gearboxes, age: anyAge, needs: []string{"Si", "Al"},
		add: func(o *oil) { o.mix(quartzDust, o.amount(30, 110)) }},
	{Name: "gearbox: sealant", Right: []string{"sealant"}, Also: []string{"silicon"}, ThreeMetals: []string{"silicon", "dust", "metal"},
		in: gearboxes, age: anyAge, needs: []string{"Si", "Al"},
		add: func(o *oil) { o.mix(silicone, o.amount(28, 90)) }},
	{Name: "gearbox: swapped bottle of the engine", Right: []string{"swapped", "other oil"}, Also: []string{"thick"},
		in: gearboxes, age: ages{.5, 1.5}, needs: []string{"P", "Ca", "B", "Zn", "KV100"},
		add: func(o *oil) { o.swap(diesel) }},
	{Name: "gearbox: particles", Right: []string{"particles"}, Also: []string{"dust", "ferrous"},
		in: gearboxes, age: anyAge, needs: []string{"particles4", "particles6", "particles14"},
		add: func(o *oil) { // two to five codes of ISO 4406 more, each of which doubles
			n := o.amount(6, 30)
			o.v["particles4"] *= n
			o.v["particles6"] *= n * o.between(.9, 1.1)
			o.v["particles14"] *= n * o.between(.9, 1.3)
		}},
	{Name: "gearbox: large iron particles", Right: []string{"ferrous"}, Also: []string{"steel", "iron"},
		in: gearboxes, age: anyAge, needs: []string{"ferrous", "Fe"},
		add: func(o *oil) { o.v["ferrous"] += o.amount(200, 800) }},
	{Name: "gearbox: water", DangerFrom: map[string]float64{"water": .5}, Right: []string{"water"}, Also: []string{"coolant", "salt"},
		in: gearboxes, age: anyAge, needs: []string{"water"},
		add: func(o *oil) { o.set("water", .25, 1.5) }},
	{Name: "gearbox: thinned fluid", Right: []string{"thin"}, Also: []string{"aged"},
		in: gearboxes, age: ages{.5, 2.5}, needs: []string{"KV100"},
		add: func(o *oil) { o.v["KV100"] = o.m.figure("KV100").fresh * o.between(.68, .78) }},
}
