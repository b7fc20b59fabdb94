package engine

import (
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/fleet"
)

// TurnPart is one partition's part of a digest's due list, as its records stood
// at the turn's place in the log.
type TurnPart struct {
	Digest   string         `json:"digest"`
	Date     string         `json:"date"`
	Now      time.Time      `json:"now"`
	Items    []due.Item     `json:"items"`
	Alarms   []alarm.Listed `json:"alarms,omitempty"`
	Vehicles int            `json:"vehicles"`
}

// Output is one thing that folding an event says; exactly one field is set.
type Output struct {
	Transition *alarm.Transition
	Refused    *alarm.Refusal
	NotJudged  *alarm.NotJudged
	Turn       *TurnPart
	Survey     *fleet.SurveyPart
}
