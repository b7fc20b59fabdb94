package handover

import (
	"cmp"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/rules/english"
)

// Line is an entry of a history as people read it, each text on one line and harmless.
type Line struct {
	// What is the kind of the entry, see [history.Entry].
	What       string
	Date, Text string
	Meters     string // what the meters showed then
	// Results are those of a laboratory's sheet, with how far the fluid had run before them.
	Results []string
	Doubts  []string // what of it is not believed or not used, and why
	Source  string   // of the event, with its identity; "" without one
	Gone    bool     // it was taken out later

	Stage alarm.Stage // of an alarm, what it became
	Name  string      // of an alarm, what it is called
	Open  string      // of an alarm, what it says without its name

	Entry *history.Entry
}

// LineOf is the entry with its dates as the reader writes them; dates puts those in a text
// into their form, nil leaves them as YYYY-MM-DD.
func LineOf(e *history.Entry, dates func(string) string) Line {
	one := func(s string) string {
		if s = english.Printable(english.OneLine(s)); dates != nil {
			s = dates(s)
		}
		return s
	}
	l := Line{What: e.What, Date: one(e.Date), Text: one(e.Text), Meters: one(e.MetersLine()), Source: SourceOf(e.Event), Gone: e.TakenOut, Entry: e}
	if s := e.Sample; s != nil && !s.ByHand() { // of one by hand the text has all values
		if s.FluidAge != nil {
			l.Results = append(l.Results, "fluid run "+english.Quantity(s.FluidAge))
		}
		for i := range s.Results {
			l.Results = append(l.Results, one(s.Results[i].Analyte+" "+s.Results[i].String()))
		}
	}
	for _, d := range e.Doubts {
		l.Doubts = append(l.Doubts, one(d))
	}
	if t := e.Alarm; t != nil {
		l.Stage, l.Name, l.Open = t.To, one(alarmName(t)), one(openText(t))
	}
	return l
}

// SourceOf is the event that something comes from; "" without one.
func SourceOf(id *event.ID) string {
	if id == nil {
		return ""
	}
	return english.Printable(english.OneLine(id.Source + " " + id.ID))
}

// alarmName is what an alarm is called, and of which component.
func alarmName(t *alarm.Transition) string {
	name := english.Capital(cmp.Or(t.Title, t.Rule))
	if t.Component != "" {
		name += " (" + t.Component + ")"
	}
	return name
}

// openText is what an active alarm says, without the name that stands before it.
func openText(t *alarm.Transition) string {
	return strings.TrimPrefix(t.Message, cmp.Or(t.Title, t.Rule)+": ")
}
