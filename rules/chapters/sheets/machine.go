package sheets

// machine is what holds a fluid, with the fluid as it comes out of the can and what a
// sound one of its kind makes.
type machine struct {
	name                   string
	vehicle                string // the kind of vehicle
	component, kind, fluid string
	task                   string // the work that renews the fluid
	litres                 float64
	usual                  float64 // km between exchanges
	figures                []figure
}

// figure is one result of a sound machine: the fresh fluid's, what is made of it by the
// usual age, and how much machines of the kind differ in that (standard deviation of
// the logarithm).
type figure struct {
	analyte             string
	fresh, made, spread float64
}

// What sound machines make, and what fresh oils hold: from memory, rounded, of the
// order of the averages that laboratories print beside a sheet and of oils' data
// sheets. The chapters are judged by a baseline made of such machines (FleetYAML), so
// that the figures hang on no chapter and no chapter on them.
var (
	diesel = &machine{"diesel", "minibus", "engine", "diesel engine", "15W-40", "engine oil", 12, 15000, []figure{
		{"Fe", 1, 24, .3}, {"Cr", 0, 1.2, .3}, {"Cu", 0, 6, .35}, {"Pb", 0, 3, .35}, {"Sn", 0, 1.2, .3}, {"Al", 1, 4, .3}, {"Ni", 0, .5, .3},
		{"Si", 5, 5, .3}, {"Na", 3, 3, .3}, {"K", 1, 2, .3}, {"B", 40, -3, .2}, {"Mg", 12, 0, 0}, {"Ca", 2300, 0, 0}, {"Zn", 1180, 0, 0}, {"P", 1060, 0, 0}, {"Mo", 45, 0, 0},
		{"KV100", 14.6, -.3, .3}, {"TBN", 10, -1.6, .2}, {"TAN", 2.2, .4, .2}, {"flash", 230, -3, .3}, {"oxidation", 3, 3, .2}, {"nitration", 2, 1.5, .2},
		{"soot", 0, .5, .4}, {"fuel", 0, .4, .4}, {"water", .01, .01, .3}, {"ferrous", 2, 12, .3}, {"glycol", 0, 0, 0},
	}}
	petrol = &machine{"petrol", "van", "engine", "petrol engine", "5W-30", "engine oil", 5, 12000, []figure{
		{"Fe", 1, 15, .3}, {"Cr", 0, .8, .3}, {"Cu", 0, 5, .35}, {"Pb", 0, 2, .35}, {"Sn", 0, 1, .3}, {"Al", 1, 4, .3}, {"Ni", 0, .4, .3},
		{"Si", 6, 6, .3}, {"Na", 4, 2, .3}, {"K", 1, 2, .3}, {"B", 140, -15, .2}, {"Mg", 15, 0, 0}, {"Ca", 2050, 0, 0}, {"Zn", 880, 0, 0}, {"P", 780, 0, 0}, {"Mo", 80, 0, 0},
		{"KV100", 11.2, -.3, .3}, {"TBN", 8, -1.3, .2}, {"TAN", 1.9, .4, .2}, {"flash", 226, -6, .3}, {"oxidation", 4, 3, .2}, {"nitration", 3, 1.5, .2},
		{"fuel", 0, .8, .4}, {"water", .01, .01, .3}, {"ferrous", 1, 8, .3}, {"glycol", 0, 0, 0},
	}}
	thin = &machine{"petrol thin", "van", "engine", "petrol engine", "0W-16", "engine oil", 4, 12000, []figure{
		{"Fe", 1, 13, .3}, {"Cr", 0, .6, .3}, {"Cu", 0, 4, .35}, {"Pb", 0, 1.5, .35}, {"Sn", 0, .8, .3}, {"Al", 1, 4, .3}, {"Ni", 0, .3, .3},
		{"Si", 6, 6, .3}, {"Na", 3, 2, .3}, {"K", 1, 2, .3}, {"B", 170, -15, .2}, {"Mg", 520, 0, 0}, {"Ca", 1250, 0, 0}, {"Zn", 830, 0, 0}, {"P", 750, 0, 0}, {"Mo", 700, 0, 0},
		{"KV100", 7.3, -.2, .3}, {"TBN", 7.5, -1.2, .2}, {"TAN", 1.9, .4, .2}, {"flash", 222, -6, .3}, {"oxidation", 4, 3, .2}, {"nitration", 3, 1.5, .2},
		{"fuel", 0, .8, .4}, {"water", .01, .01, .3}, {"ferrous", 1, 8, .3}, {"glycol", 0, 0, 0},
	}}
	gearbox = &machine{"gearbox", "minibus", "transmission", "automatic transmission", "ATF", "transmission fluid", 9, 45000, []figure{
		{"Fe", 1, 70, .3}, {"Cr", 0, 1.2, .3}, {"Cu", 1, 32, .35}, {"Pb", 0, 9, .35}, {"Sn", 0, 2.5, .3}, {"Al", 1, 20, .3}, {"Ni", 0, 1.2, .3},
		{"Si", 4, 7, .3}, {"Na", 3, 3, .3}, {"K", 1, 2, .3}, {"B", 95, -6, .2}, {"Mg", 4, 0, 0}, {"Ca", 130, 0, 0}, {"Zn", 8, 0, 0}, {"P", 280, 0, 0}, {"Mo", 1, 0, 0},
		{"KV100", 7.2, -.35, .3}, {"TAN", .6, .35, .2}, {"flash", 205, -2, .3}, {"oxidation", 2, 2, .2}, {"nitration", 1, 1, .2},
		{"water", .02, .01, .3}, {"ferrous", 3, 25, .3}, {"glycol", 0, 0, 0},
		{"particles4", 2000, 9000, .4}, {"particles6", 500, 2500, .4}, {"particles14", 30, 200, .4},
	}}
	machines  = []*machine{diesel, petrol, thin, gearbox}
	engines   = []*machine{diesel, petrol, diesel, thin, diesel, petrol}
	petrols   = []*machine{petrol, thin}
	diesels   = []*machine{diesel}
	gearboxes = []*machine{gearbox}
)

func (m *machine) figure(analyte string) figure {
	for _, f := range m.figures {
		if f.analyte == analyte {
			return f
		}
	}
	return figure{analyte: analyte}
}
