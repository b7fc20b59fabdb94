// Package fleet makes baselines of the fleet's own samples: what is usual for a kind of
// component and a fluid. A survey collects the samples, [Make] makes a [Set] of them,
// and [InForce] compares a sample that arrives with the set in force.
package fleet

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"telltale/engine/event"
	"telltale/engine/lab"
)

// BaselineData puts baselines of the fleet in force for the samples that come after
// it. Set may be nil in the log, where it is stored under Hash beside the events.
type BaselineData struct {
	Hash   string `json:"hash"`
	Number int    `json:"number"`
	Turn   string `json:"turn"` // of the survey
	Set    *Set   `json:"set,omitempty"`
}

// Set is all baselines made from the fleet by one survey, and how well its forecasts
// kept their word.
type Set struct {
	Number    int        `json:"number"` // counts on from 1
	Turn      string     `json:"turn"`
	Now       time.Time  `json:"now"` // samples drawn until then count
	Book      string     `json:"book"`
	Baselines []Baseline `json:"baselines"` // by name
	Dates     *Dates     `json:"dates,omitempty"`
}

// Baseline is one baseline of a book, in its groups.
type Baseline struct {
	Name       string   `json:"name"`
	Definition string   `json:"definition"` // by which it was made
	GroupBy    []string `json:"groupBy"`
	Groups     []Group  `json:"groups,omitempty"` // by what they share
}

// Group is the samples that share a kind, a fluid and whatever else the book
// groups by.
type Group struct {
	Of       []string  `json:"of"`
	Samples  int       `json:"samples"`
	Vehicles int       `json:"vehicles"`
	Oldest   string    `json:"oldest"` // dates on which they were drawn
	Newest   string    `json:"newest"`
	Age      *float64  `json:"age,omitempty"`   // the mean of those known, in metres
	Hours    bool      `json:"hours,omitempty"` // ages are in seconds of running instead
	Analytes []Analyte `json:"analytes"`        // by name
}

// Analyte is what is usual for an analyte in a group: figures without the
// outliers, in the analyte's base unit. A range stands where results below their
// limits leave a figure open.
type Analyte struct {
	Analyte  string `json:"analyte"`
	N        int    `json:"n"`
	Detected int    `json:"detected"`
	Vehicles int    `json:"vehicles"`
	// Usable is false where no sample is judged by it; Unused says why.
	Usable bool      `json:"usable"`
	Unused []string  `json:"unused,omitempty"`
	Mean   *lab.Span `json:"mean,omitempty"`
	Median *lab.Span `json:"median,omitempty"`
	Spread *lab.Span `json:"spread,omitempty"` // robust: of the middle half
	SD     *float64  `json:"sd,omitempty"`
	P90    *lab.Span `json:"p90,omitempty"`
	P95    *lab.Span `json:"p95,omitempty"`
	// Most is what 19 of 20 such samples stay under, with 95 % confidence.
	Most *float64 `json:"most,omitempty"`
	// Age is the mean age of the Aged fluids of which it is known, metres or seconds.
	Age      *float64  `json:"age,omitempty"`
	Aged     int       `json:"aged"`
	Outliers []Outlier `json:"outliers,omitempty"`
	Notes    []string  `json:"notes,omitempty"`
	// Low and High are the values in order, results below a limit at 0 and at the
	// limit, or evenly spaced quantiles of many; High is absent where it is Low.
	Low  []float64 `json:"low,omitempty"`
	High []float64 `json:"high,omitempty"`
}

// Outlier is a sample that was left out.
type Outlier struct {
	Vehicle   string  `json:"vehicle"`
	Component string  `json:"component"`
	Number    string  `json:"number"` // the laboratory's
	Drawn     string  `json:"drawn"`
	Value     float64 `json:"value"`
}

// Hash names the set by what it holds.
func (s *Set) Hash() string {
	b, _ := json.Marshal(s) // it holds no NaN, nor anything else that JSON cannot
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:])
}

// Listing is one group of a set, with what says which set it is of.
type Listing struct {
	Set      string `json:"set"` // the hash
	Number   int    `json:"number"`
	On       string `json:"on"` // the date of the survey
	Baseline string `json:"baseline"`
	Group
}

// List is all groups, by baseline; none of a nil set.
func (s *Set) List() []Listing {
	if s == nil {
		return nil
	}
	var out []Listing
	for _, b := range s.Baselines {
		for _, g := range b.Groups {
			out = append(out, Listing{s.Hash(), s.Number, s.Now.UTC().Format(time.DateOnly), b.Name, g})
		}
	}
	return out
}

// Count is how many groups the set has.
func (s *Set) Count() int {
	n := 0
	for i := range s.Baselines {
		n += len(s.Baselines[i].Groups)
	}
	return n
}

// Event is what puts the set in force, with the set in it.
func (s *Set) Event() event.Event {
	id := event.ID{Source: "/telltale", ID: fmt.Sprintf("baseline %d %s", s.Number, s.Turn)}
	return event.Event{ID: id, Kind: event.BaselineEvent, Time: s.Now, Recorded: s.Now,
		Data: &BaselineData{Hash: s.Hash(), Number: s.Number, Turn: s.Turn, Set: s}}
}
