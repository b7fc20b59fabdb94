package notify

import (
	"slices"
	"time"
)

// minded is what a person was told in full on a day of their own.
type minded struct {
	Day      string   `json:"day"`
	Cautions []string `json:"cautions"`
}

// toldToday are the cautions that the person has read in full on the day of a message.
func (k *mark) toldToday(p reader, at time.Time) []string {
	if m := k.Minded[p.ID]; m.Day == at.In(p.Zone).Format(time.DateOnly) {
		return m.Cautions
	}
	return nil
}

// noteMinded remembers what a message tells in full.
func (k *mark) noteMinded(p reader, m Message, at time.Time) {
	if len(m.cautions) == 0 {
		return
	}
	all := append(slices.Clone(k.toldToday(p, at)), m.cautions...)
	slices.Sort(all)
	if k.Minded == nil {
		k.Minded = map[string]minded{}
	}
	k.Minded[p.ID] = minded{at.In(p.Zone).Format(time.DateOnly), slices.Compact(all)}
}
