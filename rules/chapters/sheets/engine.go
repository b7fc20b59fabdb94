package sheets

import "math"

// engineFaults are what goes wrong in engines. Amounts are mg/kg in the fluid: of the
// order at which laboratories speak, from "raised" to far over; from memory.
var engineFaults = []Cause{
	{Name: "quartz dust", Right: []string{"dust"}, Also: []string{"silicon", "iron", "ring", "aluminium"}, ThreeMetals: []string{"sealant", "silicon", "metal"},
		in: engines, age: anyAge, needs: []string{"Si", "Al"},
		add: func(o *oil) { o.mix(quartzDust, o.amount(28, 90)) }},
	{Name: "dust with ring wear", Danger: true, Right: []string{"dust"}, Also: []string{"silicon", "iron", "ring", "chromium", "steel", "aluminium"}, ThreeMetals: []string{"sealant", "silicon", "iron", "metal"},
		in: engines, age: anyAge, needs: []string{"Si", "Al", "Fe"},
		add: func(o *oil) {
			o.mix(quartzDust, o.amount(30, 80))
			o.mix(grayIron, o.amount(60, 150))
			o.mix(chromePlate, o.amount(4, 12))
		}},
	{Name: "volcanic loam", Right: []string{"loam"}, Also: []string{"dust", "silicon", "iron", "aluminium", "ring"},
		in: engines, age: anyAge, needs: []string{"Si", "Al"},
		add: func(o *oil) { o.mix(volcanicLoam, o.amount(28, 80)) }},
	{Name: "silicone sealant", Right: []string{"sealant"}, Also: []string{"silicon"}, ThreeMetals: []string{"silicon", "dust", "metal"},
		in: engines, age: anyAge, needs: []string{"Si", "Al"},
		add: func(o *oil) { o.mix(silicone, o.amount(25, 70)) }},

	{Name: "aluminium-tin bearing", Danger: true, Right: []string{"bearing"}, Also: []string{"aluminium", "tin", "iron"},
		in: engines, age: anyAge, needs: []string{"Al", "Sn", "Si"},
		add: func(o *oil) { o.mix(aluminiumTin, o.amount(40, 120)); o.mix(gearSteel, o.between(0, 15)) }},
	{Name: "lead-free bearing", Danger: true, Right: []string{"bearing", "bronze"}, Also: []string{"copper", "tin", "iron"}, ThreeMetals: []string{"copper", "metal"},
		in: engines, age: anyAge, needs: []string{"Cu", "Sn", "Pb"},
		add: func(o *oil) { o.mix(leadFree, o.amount(60, 180)); o.mix(gearSteel, o.between(0, 15)) }},
	{Name: "copper-lead bearing", Danger: true, Right: []string{"bearing"}, Also: []string{"copper", "lead", "tin", "iron", "bronze"}, ThreeMetals: []string{"copper", "metal"},
		in: engines, age: anyAge, needs: []string{"Cu", "Pb"},
		add: func(o *oil) { o.mix(copperLead, o.amount(45, 150)); o.mix(gearSteel, o.between(0, 15)) }},
	{Name: "lead overlay", Danger: true, Right: []string{"bearing", "lead"}, Also: []string{"tin"},
		in: engines, age: anyAge, needs: []string{"Pb", "Sn", "Cu"},
		add: func(o *oil) { o.mix(overlay, o.amount(18, 70)) }},
	{Name: "tin bronze bushing", Right: []string{"bronze", "bearing"}, Also: []string{"copper", "tin"}, ThreeMetals: []string{"copper", "metal"},
		in: engines, age: anyAge, needs: []string{"Cu", "Sn", "Pb"},
		add: func(o *oil) { o.mix(tinBronze, o.amount(60, 160)) }},
	{Name: "leaded bronze bushing", Right: []string{"bronze", "bearing"}, Also: []string{"copper", "lead", "tin"}, ThreeMetals: []string{"copper", "metal"},
		in: engines, age: anyAge, needs: []string{"Cu", "Sn", "Pb"},
		add: func(o *oil) { o.mix(leadedBronze, o.amount(55, 160)) }},
	{Name: "steel of gears and rolling bearings", Right: []string{"steel", "iron"}, Also: []string{"ring", "chromium"}, ThreeMetals: []string{"metal"},
		in: engines, age: anyAge, needs: []string{"Fe", "Cr"},
		add: func(o *oil) { o.mix(bearingSteel, o.amount(60, 160)); o.mix(gearSteel, o.amount(30, 100)) }},
	{Name: "chrome ring", Right: []string{"ring", "chromium"}, Also: []string{"iron", "steel"}, ThreeMetals: []string{"iron", "metal"},
		in: engines, age: anyAge, needs: []string{"Fe", "Cr"},
		add: func(o *oil) { o.mix(chromePlate, o.amount(8, 28)); o.mix(grayIron, o.amount(45, 130)) }},
	{Name: "aluminium piston", Right: []string{"aluminium"}, Also: []string{"iron", "ring", "silicon"},
		in: engines, age: anyAge, needs: []string{"Al", "Si", "Sn"},
		add: func(o *oil) { o.mix(pistonAlloy, o.amount(28, 90)); o.mix(grayIron, o.between(0, 20)) }},
	{Name: "aluminium housing", Right: []string{"aluminium"}, Also: []string{"silicon", "copper"},
		in: engines, age: anyAge, needs: []string{"Al", "Si", "Sn"},
		add: func(o *oil) { o.mix(castAlloy, o.amount(30, 100)) }},

	{Name: "coolant with sodium, potassium and silicate", Danger: true, Right: []string{"coolant"}, Also: []string{"salt", "water", "copper", "leaching"},
		in: engines, age: anyAge, needs: []string{"Na", "K"},
		add: func(o *oil) { o.coolant(silicateCoolant, o.amount(45, 200)); o.v["Cu"] += o.between(0, 6) }},
	{Name: "organic-acid coolant", Danger: true, Right: []string{"coolant"}, Also: []string{"water", "copper", "leaching"},
		in: engines, age: anyAge, needs: []string{"K", "Na"},
		add: func(o *oil) { o.coolant(organicCoolant, o.amount(30, 150)) }},
	{Name: "borate coolant", Danger: true, Right: []string{"coolant"}, Also: []string{"salt", "water", "other oil"},
		in: engines, age: anyAge, needs: []string{"Na", "B"},
		add: func(o *oil) { o.coolant(borateCoolant, o.amount(60, 180)) }},
	{Name: "glycol measured", Danger: true, Right: []string{"coolant"}, Also: []string{"salt", "water"},
		in: engines, age: anyAge, needs: []string{"glycol", "Na", "K"},
		add: func(o *oil) { o.set("glycol", .2, 1.5); o.mix(silicateCoolant, o.between(2, 15)) }},
	{Name: "salt water", Right: []string{"salt"}, Also: []string{"coolant", "water"},
		in: engines, age: anyAge, needs: []string{"Na", "K", "B"},
		add: func(o *oil) { o.mix(saltWater, o.amount(50, 200)); o.v["water"] += o.between(0, .15) }},
	{Name: "water", DangerFrom: map[string]float64{"water": .5}, Right: []string{"water"}, Also: []string{"coolant", "salt"},
		in: engines, age: anyAge, needs: []string{"water"},
		add: func(o *oil) { o.set("water", .3, 2) }},

	{Name: "fuel measured", DangerFrom: map[string]float64{"fuel": 5}, Right: []string{"fuel"}, Also: []string{"thin"},
		in: engines, age: anyAge, needs: []string{"fuel"},
		add: func(o *oil) {
			from := 4.0 // petrol: raised from 2.4 %, diesel from 3.4 % (a laboratory's guide)
			if o.m == diesel {
				from = 5
			}
			o.fuel(o.between(from, 11))
		}},
	{Name: "fuel not measured", Danger: true, Right: []string{"fuel"}, Also: []string{"thin"},
		in: engines, age: anyAge, needs: []string{"KV100", "flash"}, hidden: []string{"fuel"},
		add: func(o *oil) { o.fuel(o.between(6, 12)) }},
	{Name: "soot", Right: []string{"soot"}, Also: []string{"thick", "iron"},
		in: diesels, age: ages{.6, 2.5}, needs: []string{"soot"},
		add: func(o *oil) {
			o.set("soot", 4, 8)
			o.v["KV100"] *= 1 + float64(.04*o.v["soot"]*o.between(.5, 1.2)) // some 4 % for each per cent, from memory
		}},

	{Name: "wrong oil", Right: []string{"other oil"}, Also: []string{"swapped", "thin", "thick"},
		in: engines, age: ages{1. / 3, 1.5}, needs: []string{"P", "Ca", "Zn", "Mg", "B"},
		add: func(o *oil) { o.blend(o.oneOf(lowAsh, highAsh, hydraulic, gearOil, tractorOil), o.between(.88, .98)) }},
	{Name: "mixed with another oil", Right: []string{"other oil"}, Also: []string{"thin", "thick", "swapped"},
		in: engines, age: ages{1. / 3, 2}, needs: []string{"P", "Ca", "Zn", "Mg", "B"},
		add: func(o *oil) { o.blend(o.oneOf(lowAsh, highAsh, hydraulic, gearOil), o.between(.42, .7)) }},
	{Name: "swapped bottle of the gearbox", Right: []string{"swapped", "other oil"}, Also: []string{"thin"},
		in: engines, age: ages{.5, 1.5}, needs: []string{"P", "Ca", "Zn", "Mg", "B", "KV100"},
		add: func(o *oil) { o.swap(gearbox) }},

	{Name: "sheared oil", Right: []string{"thin"}, Also: []string{"aged"},
		in: engines, age: ages{.5, 2.5}, needs: []string{"KV100", "flash", "fuel"},
		add: func(o *oil) {
			low := map[string]float64{"15W-40": 12.5, "5W-30": 9.3, "0W-16": 6.1}[o.m.fluid] // SAE J300
			o.v["KV100"] = low * o.between(.8, .96)
		}},
	{Name: "oxidised and nitrated oil", Right: []string{"oxidised"}, Also: []string{"thick", "acid", "base", "aged"},
		in: engines, age: ages{.8, 2.5}, needs: []string{"oxidation", "nitration"},
		add: func(o *oil) {
			o.set("oxidation", 24, 45)
			o.set("nitration", 16, 30)
			o.times("KV100", 1, 1.2)
			o.v["TAN"] += o.between(.5, 3)
			o.times("TBN", .45, .8)
		}},
	{Name: "base number used up, acid over it", Right: []string{"base", "acid"}, Also: []string{"oxidised", "aged"},
		in: engines, age: ages{.8, 2.5}, needs: []string{"TBN", "TAN"},
		add: func(o *oil) {
			o.set("TBN", .5, 2)
			o.set("TAN", 3, 6)
			o.v["oxidation"] += o.between(0, 5)
		}},
	{Name: "large iron particles", Right: []string{"ferrous"}, Also: []string{"steel", "iron"},
		in: engines, age: anyAge, needs: []string{"ferrous", "Fe"},
		add: func(o *oil) { o.v["ferrous"] += o.amount(100, 500) }},
}

// coolant adds its salts, and of half of the leaks glycol and water that have not
// boiled off yet.
func (o *oil) coolant(inhibitor []part, salts float64) {
	o.mix(inhibitor, salts)
	if o.chance(.5) {
		o.v["glycol"] += o.between(0, .5)
		o.v["water"] += o.between(0, .2)
	}
}

// fuel adds so many per cent of it. A per cent thins by some 2.5 to 3.5 % of what is left
// and takes some 5 to 8 °C from the flash point: from memory.
func (o *oil) fuel(percent float64) {
	for _, f := range o.m.figures {
		switch f.analyte {
		case "flash":
			o.v["flash"] -= float64(percent * o.between(5, 8))
		case "KV100":
			o.v["KV100"] *= math.Exp(-percent * o.between(.025, .035))
		default:
			o.v[f.analyte] *= 1 - percent/100
		}
	}
	o.v["fuel"] = percent
}

func (o *oil) oneOf(oils ...map[string]float64) map[string]float64 { return oils[o.r.IntN(len(oils))] }

// swap puts what is in another machine of its kind in the place of all.
func (o *oil) swap(m *machine) {
	other := ran(o.r, m, newMaker(o.r, m, 1), o.between(.5, 1.3))
	const base = 1.0 // mgKOH/g, of a gearbox's fluid, where nobody asks for it: from memory
	for _, f := range o.m.figures {
		v, known := other.v[f.analyte]
		if f.analyte == "TBN" && !known {
			v = base
		}
		o.v[f.analyte] = v
	}
}
