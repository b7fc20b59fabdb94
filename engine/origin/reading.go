package origin

// Excess is what a sample holds of an element beyond what is usual, mg/kg; less than
// nothing where it holds less. Error is what method and spread account for, 95 times in
// 100. Half is half the width of what a result below its limit leaves open: Value is then
// in the middle, and Half counts as an error beside the other.
type Excess struct {
	Analyte            string
	Value, Error, Half float64
}

// Reading is where the metals come from. All errors are for 95 of 100. Figures are rounded
// to four that count.
type Reading struct {
	// Parts are the sources, the most metal first; none where no source can be told.
	Parts []Part `json:"parts,omitempty"`
	// Beyond is what no part explains, of what is really more than usual.
	Beyond []Beyond `json:"beyond,omitempty"`
	// Explained is the share of what is more than usual that the parts explain, each element
	// weighed by its variance (R²); under [Good] it is a poor fit.
	Explained float64 `json:"explained,omitempty"`
	// Middle are the elements of which the middle was taken of what a result below its
	// limit leaves open.
	Middle []string `json:"middle,omitempty"`
	// Unsolved says of which pairs it cannot be reckoned how much of each there is.
	Unsolved []Unsolved `json:"unsolved,omitempty"`
}

// Good is the share from which on a fit is a good one (EPA-450/4-87-010).
const Good = 0.8

// Part is one source, or several of which it cannot be told which it is.
type Part struct {
	// Analyte is the chief element of the likeliest mix, and Value how much of what was
	// measured of it, mg/kg, is laid to that. Further marks that the parts before make some of the element too.
	Analyte string  `json:"analyte"`
	Value   float64 `json:"value"`
	Further bool    `json:"further,omitempty"`
	Mixes   []Mix   `json:"mixes"` // any of which may be it, the likeliest first
}

// Mix are sources that are there together; mostly one.
type Mix []Amount

// Amount is how much of a source there is.
type Amount struct {
	Source string  `json:"source"`
	Family string  `json:"family"`
	Amount float64 `json:"amount"` // g of the source in a kg of the fluid
	Error  float64 `json:"error"`
	// From is where the shares of the source are from; "from memory" where no text was seen.
	From []string `json:"from"`
}

// Beyond is what no source explains of an element, mg/kg.
type Beyond struct {
	Analyte string  `json:"analyte"`
	Value   float64 `json:"value"`
}

// Unsolved are sources of which it cannot be reckoned how much of each there is.
type Unsolved struct {
	Sources []string `json:"sources"`
	Why     string   `json:"why"`
}
