package engine

import "time"

// TurnPart is one partition's part of a digest's due list, as its records stood
// at the turn's place in the log.
type TurnPart struct {
	Digest   string     `json:"digest"`
	Date     string     `json:"date"`
	Now      time.Time  `json:"now"`
	Items    []DueItem  `json:"items"`
	Alarms   []Standing `json:"alarms,omitempty"`
	Vehicles int        `json:"vehicles"`
}

// Output is one thing that folding an event says; exactly one field is set.
type Output struct {
	Transition *Transition
	Refused    *Refusal
	NotJudged  *NotJudged
	Turn       *TurnPart
	Survey     *SurveyPart
}
