// Package doubt says what is odd about the meter values of a vehicle, and what to do about
// it. It asks a [judge.View] and changes nothing.
package doubt

import (
	"fmt"
	"math"

	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/rules/english"
)

// Doubt is what is odd about one value of a meter.
type Doubt struct {
	Of   event.ID
	At   int64  // when it was observed, Unix nanoseconds
	Says string // a sentence, without its full stop where it asks nothing
}

// Of is what is odd about the meter values of events, as sentences.
func Of(v *judge.View) map[event.ID][]string {
	out := map[event.ID][]string{}
	chains := v.Rec.Chains()
	for i := range chains {
		for _, d := range OfMeter(v, &chains[i]) {
			out[d.Of] = append(out[d.Of], d.Says)
		}
	}
	return out
}

// OfMeter is what is odd about the values of one meter: those that are not believed, in
// order of time, values of replaced instruments, and a last one that is far ahead of the
// usual pace.
func OfMeter(v *judge.View, c *record.Chain) (out []Doubt) {
	for _, p := range c.Points {
		if !p.Accepted {
			out = append(out, Doubt{p.ID, p.At, Disputed(v, c, p)})
		}
	}
	for _, d := range c.Doubted {
		out = append(out, Doubt{d.Of.ID, d.Of.At, Replaced(v, c, &d)})
	}
	if p, text := ahead(v, c); text != "" {
		out = append(out, Doubt{p.ID, p.At, text})
	}
	return out
}

// A last reading is asked about that is further on than three times the upper bound of
// the usual pace has it, and by more than these. Common practice, no source.
const (
	aheadTimes    = 3
	aheadDistance = 1_000_000.0 // m
	aheadHours    = 50 * 3600.0 // s
)

// ahead asks about a last reading that is believed, and far ahead of the usual pace;
// "" where it is not.
func ahead(v *judge.View, c *record.Chain) (record.Point, string) {
	p, ok := c.Last(math.MaxInt64)
	before, has := c.Last(p.At - 1)
	if !ok || !has {
		return p, ""
	}
	u, ran, least := c.ReckonUsage(before.At), float64(record.Seconds(p.At)-record.Seconds(before.At)), aheadDistance
	if c.Hours {
		least = aheadHours
	}
	if usual := float64(u.High * ran); !u.OK || p.Life-before.Life < float64(aheadTimes*usual)+least {
		return p, ""
	}
	text := fmt.Sprintf("The %s reads %s, %s more than on %s: at its usual pace that would be %s", c.Name, v.Amount(p.Face, c.Hours),
		v.Amount(p.Life-before.Life, c.Hours), v.DayOf(before.At), v.Amount(float64(u.PerSecond*ran), c.Hours))
	return p, text + meant(v, c, c.Slip(&p, &before, before.Face+float64(u.PerSecond*ran))) + ". Is that right?"
}

// Disputed says what is odd about a disputed reading.
func Disputed(v *judge.View, c *record.Chain, p record.Point) string {
	text := fmt.Sprintf("The %s reads %s", c.Name, v.Amount(p.Face, c.Hours))
	switch last, ok := c.LastRead(p.At); {
	case p.Why == record.BeforeService:
		return text + " on " + v.DayOf(p.At) + ", which is before the vehicle came into service on " + v.Rec.Registered().InService
	case ok:
		text += fmt.Sprintf(" after %s on %s", v.Amount(last.Face, c.Hours), v.DayOf(last.At))
	}
	return text + meant(v, c, p.Meant)
}

// Back says where a meter goes back, and what hangs on it.
func Back(v *judge.View, c *record.Chain, b *record.Back) string {
	if b.Open {
		return Disputed(v, c, b.Low) + ". " + english.Capital(v.UntoldText(c, b.Low.At))
	}
	wrong, text := b.Low, fmt.Sprintf("after %s on %s", v.Amount(b.High.Face, c.Hours), v.DayOf(b.High.At))
	if b.Low.Accepted {
		wrong, text = b.High, fmt.Sprintf("before %s on %s", v.Amount(b.Low.Face, c.Hours), v.DayOf(b.Low.At))
	}
	text = fmt.Sprintf("The %s read %s on %s, %s", c.Name, v.Amount(wrong.Face, c.Hours), v.DayOf(wrong.At), text)
	return text + meant(v, c, wrong.Meant)
}

// Replaced says which value of a replaced instrument does not fit.
func Replaced(v *judge.View, c *record.Chain, d *record.Doubted) string {
	what, value := "the old "+c.Name+" ended at", d.Of.Last
	if d.First {
		what, value = "the new "+c.Name+" began at", d.Of.First
	}
	text := fmt.Sprintf("It was entered that %s %s on %s, which does not fit its readings and is not used", what, v.Amount(value, c.Hours), v.DayOf(d.Of.At))
	return text + meant(v, c, d.Meant)
}

// meant adds to a text what a reading was probably meant to be.
func meant(v *judge.View, c *record.Chain, m meter.Meant) string {
	words := m.Words(func(value float64) string { return v.Amount(value, c.Hours) })
	if words == "" {
		return ""
	}
	return "; " + words
}
