package sheets

// What things are made of, as shares by mass. Where no source is named the figures are
// from memory, of the standards named.
var (
	grayIron     = []part{{"Fe", .92, .94}, {"Si", .018, .025}}
	bearingSteel = []part{{"Fe", .96, .97}, {"Cr", .013, .016}}                                                            // 52100
	gearSteel    = []part{{"Fe", .965, .975}, {"Ni", .004, .007}, {"Cr", .004, .006}}                                      // 8620
	tinBronze    = []part{{"Cu", .905, .93}, {"Sn", .07, .09}}                                                             // C52100
	leadedBronze = []part{{"Cu", .81, .85}, {"Sn", .063, .075}, {"Pb", .06, .08}, {"Zn", .02, .04}}                        // C93200, the standard's ranges by a second public page
	copperLead   = []part{{"Cu", .70, .77}, {"Pb", .19, .25}, {"Sn", .035, .055}}                                          // SAE 49-like shells
	overlay      = []part{{"Pb", .86, .90}, {"Sn", .08, .12}, {"Cu", .015, .03}}                                           // SAE 191-like overlay
	aluminiumTin = []part{{"Al", .77, .81}, {"Sn", .185, .215}, {"Cu", .007, .013}}                                        // SAE 783
	leadFree     = []part{{"Cu", .90, .93}, {"Sn", .07, .09}}                                                              // shells of copper and tin
	pistonAlloy  = []part{{"Al", .83, .87}, {"Si", .11, .135}, {"Cu", .007, .012}, {"Ni", .007, .012}, {"Mg", .008, .013}} // 4032
	castAlloy    = []part{{"Al", .83, .87}, {"Si", .075, .095}, {"Cu", .03, .04}, {"Fe", .006, .012}, {"Zn", .005, .02}}   // A380
	chromePlate  = []part{{"Cr", 1, 1}}

	// Per mg/kg of silicon. Quartz dust: aluminium 0.164 to 0.296 by the ranges of SAE J726
	// (SiO2 65–76 %, Al2O3 11–17 %), potassium 7 to 9 % of silicon (feldspar, from memory),
	// iron by 2–5 % Fe2O3, sodium by 2–4 % Na2O (both from memory).
	quartzDust = []part{{"Si", 1, 1}, {"Al", .17, .29}, {"K", .07, .09}, {"Fe", .045, .10}, {"Na", .045, .08}, {"Mg", .01, .03}, {"Ca", .05, .10}, {"Ti", .005, .015}}
	// Loam of volcanoes: aluminium 0.74 to 1.07 by JIS Z 8901 classes 7, 8 and 11 (by a second
	// page); iron by 17–23 % Fe2O3 (from memory).
	volcanicLoam = []part{{"Si", 1, 1}, {"Al", .75, 1.06}, {"Fe", .64, 1.0}, {"K", .01, .04}, {"Na", .02, .06}, {"Ca", .02, .10}, {"Mg", .05, .12}, {"Ti", .03, .06}}
	silicone     = []part{{"Si", 1, 1}} // polydimethylsiloxane, by its formula: nothing else that is measured

	// Per mg/kg of the first. Coolants: from memory of inhibitor packages.
	silicateCoolant = []part{{"Na", 1, 1}, {"K", .3, 1.2}, {"Si", .03, .08}, {"B", 0, .12}}
	organicCoolant  = []part{{"K", 1, 1}, {"Na", 0, .05}, {"Mo", 0, .02}}
	// Borax: B/Na 0.94 by its formula; other sodium salts beside it.
	borateCoolant = []part{{"Na", 1, 1}, {"B", .35, .9}, {"K", 0, .04}, {"Si", .02, .06}}
	// Road salt is sodium chloride; sea salt has Mg/Na 0.12, K/Na 0.037, Ca/Na 0.038 (the
	// standard composition of sea water, from memory).
	saltWater = []part{{"Na", 1, 1}, {"Mg", 0, .12}, {"K", 0, .037}, {"Ca", 0, .038}}
)

// Other oils, as they come out of the can: from memory of kinds, of no maker.
var (
	lowAsh     = map[string]float64{"B": 320, "Mg": 850, "Ca": 1050, "Zn": 850, "P": 760, "Mo": 2, "KV100": 14.2, "TBN": 8}
	highAsh    = map[string]float64{"B": 2, "Mg": 30, "Ca": 3600, "Zn": 1500, "P": 1350, "Mo": 2, "KV100": 14.8, "TBN": 13}
	hydraulic  = map[string]float64{"B": 0, "Mg": 2, "Ca": 55, "Zn": 420, "P": 340, "Mo": 0, "KV100": 6.8, "TBN": .6}
	gearOil    = map[string]float64{"B": 220, "Mg": 2, "Ca": 15, "Zn": 10, "P": 1400, "Mo": 0, "KV100": 15.0, "TBN": .4}
	otherATF   = map[string]float64{"B": 5, "Mg": 2, "Ca": 420, "Zn": 6, "P": 180, "Mo": 0, "KV100": 7.3}
	tractorOil = map[string]float64{"B": 2, "Mg": 15, "Ca": 3400, "Zn": 1300, "P": 1100, "Mo": 0, "KV100": 9.6}
)
