package fleet

import (
	"time"

	"telltale/engine/lab"
	"telltale/rules/unit"
)

// SurveyData asks every partition for its samples, of which the baselines of the
// fleet are made. Turn is its key, the moment of the clock that asks, RFC 3339 UTC.
type SurveyData struct {
	Turn string `json:"turn"`
	// Definitions is the hash of what the book in force then asks of the fleet.
	Definitions string `json:"definitions"`
}

// SurveyPart is one partition's answer: its samples of the components that have a
// baseline made from the fleet, and what became of its forecasts, as the records stood at the survey's place in the log.
type SurveyPart struct {
	Turn    string         `json:"turn"`
	Now     time.Time      `json:"now"`
	Book    string         `json:"book,omitempty"`
	Samples []SurveySample `json:"samples,omitempty"`
	// Made are forecasts of at most Panel vehicles, as they stood then; Finished is what
	// became of those made before, of which it is known.
	Made     []Open     `json:"made,omitempty"`
	Finished []Finished `json:"finished,omitempty"`
}

// SurveySample is one sample as it counts for a group. Ages are mixed over partial
// exchanges, in metres and seconds; negative where unknown.
type SurveySample struct {
	Vehicle   string         `json:"vehicle"`
	Component string         `json:"component"`
	Number    string         `json:"number"`
	Drawn     string         `json:"drawn"` // local date
	Baseline  string         `json:"baseline"`
	Group     []string       `json:"group,omitempty"`
	Distance  float64        `json:"distance"`
	Hours     float64        `json:"hours"`
	Results   []SurveyResult `json:"results"`
}

// SurveyResult is a result in its analyte's base unit.
type SurveyResult struct {
	Analyte string  `json:"a"`
	Value   float64 `json:"v"`
	Below   bool    `json:"below,omitempty"`
	Above   bool    `json:"above,omitempty"`
}

// age is in seconds of running or metres; negative where unknown.
func (s *SurveySample) age(hours bool) float64 {
	if hours {
		return s.Hours
	}
	return s.Distance
}

// SampleOf is the last sample of a history as it counts for a group.
func SampleOf(h lab.History) SurveySample {
	sheet := lab.Sheet{History: h}
	age := func(kind unit.Kind) float64 {
		if v, _, ok := sheet.MixedAge(kind); ok {
			return v
		}
		return -1
	}
	out := SurveySample{Distance: age(unit.Distance), Hours: age(unit.Time), Results: []SurveyResult{}}
	for _, r := range h[len(h)-1].Results {
		out.Results = append(out.Results, SurveyResult{r.Analyte, r.Value, r.Censored, r.Above})
	}
	return out
}
