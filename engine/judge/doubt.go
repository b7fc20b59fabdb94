package judge

import (
	"fmt"
	"math"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules/english"
)

// DisputedText says what is odd about a disputed reading.
func (v *View) DisputedText(c *record.Chain, p record.Point) string {
	text := fmt.Sprintf("The %s reads %s", c.Name, v.face(c, p.Face))
	switch last, ok := c.LastRead(p.At); {
	case p.Why == record.BeforeService:
		return text + " on " + v.dayOf(p.At) + ", which is before the vehicle came into service on " + v.Rec.Registered().InService
	case ok:
		text += fmt.Sprintf(" after %s on %s", v.face(c, last.Face), v.dayOf(last.At))
	}
	if p.Meant != "" {
		text += "; " + p.Meant
	}
	return text
}

// BackText says where a meter goes back, and what hangs on it.
func (v *View) BackText(c *record.Chain, b *record.Back) string {
	if b.Open {
		return v.DisputedText(c, b.Low) + ". " + english.Capital(v.untoldText(c, b.Low.At))
	}
	wrong, text := b.Low, fmt.Sprintf("after %s on %s", v.face(c, b.High.Face), v.dayOf(b.High.At))
	if b.Low.Accepted {
		wrong, text = b.High, fmt.Sprintf("before %s on %s", v.face(c, b.Low.Face), v.dayOf(b.Low.At))
	}
	text = fmt.Sprintf("The %s read %s on %s, %s", c.Name, v.face(c, wrong.Face), v.dayOf(wrong.At), text)
	if wrong.Meant != "" {
		text += "; " + wrong.Meant
	}
	return text
}

// DoubtedText says which value of a replaced instrument does not fit.
func (v *View) DoubtedText(c *record.Chain, d *record.Doubted) string {
	what, value := "the old "+c.Name+" ended at", d.Of.Last
	if d.First {
		what, value = "the new "+c.Name+" began at", d.Of.First
	}
	text := fmt.Sprintf("It was entered that %s %s on %s, which does not fit its readings and is not used", what, v.face(c, value), v.dayOf(d.Of.At))
	if d.Meant != "" {
		text += "; " + d.Meant
	}
	return text
}

// untoldText says since when nobody can tell how far the meter has run.
func (v *View) untoldText(c *record.Chain, since int64) string {
	what := "distance"
	if c.Hours {
		what = "running time"
	}
	return "the " + what + " since the work cannot be told since " + v.dayOf(since)
}

// untold says of a task that goes by a meter which went back since when its distance or
// running time cannot be told; "" where it can.
func (v *View) untold(d *Due) string {
	if d.Waiting || d.NoHistory {
		return ""
	}
	for _, hours := range [...]bool{false, true} {
		every, point := d.Plan.Every.Distance, d.Point.Distance
		if hours {
			every, point = d.Plan.Every.Hours, d.Point.Hours
		}
		if every == 0 && math.IsNaN(point) {
			continue
		}
		if c := v.Chain(d.Comp, hours); c != nil {
			if since, ok := c.UntoldSince(); ok {
				return v.untoldText(c, since)
			}
		}
	}
	return ""
}

// judgeUntold sees that a task whose distance cannot be told is not called normal for it.
// What was read before the meter went back may make it due, as at least so far was run;
// its date may, too.
func (v *View) judgeUntold(d *Due) {
	if d.Untold = v.untold(d); d.Untold == "" || d.Stage > interval.Soon || d.Stage == interval.Soon && d.Limit == interval.ByTime {
		return
	}
	d.Stage, d.Limit = interval.Soon, interval.ByDistance
	if d.Plan.Every.Distance == 0 && math.IsNaN(d.Point.Distance) {
		d.Limit = interval.ByHours
	}
}

// untoldWords say that the distance cannot be told, beside what is known of the task.
func (v *View) untoldWords(d *Due) []string {
	switch {
	case d.Stage > interval.Soon || d.Limit == interval.ByTime:
		return []string{v.limitWords(d), d.Untold}
	case d.Point.HasDate:
		return []string{d.Untold, "by the calendar due on " + d.Point.Date.String()}
	}
	return []string{d.Untold}
}

func (v *View) dayOf(at int64) string {
	return interval.DateOf(time.Unix(0, at), v.Rec.Registered().Location()).String()
}

// Doubts are what is odd about the meter values of events, as sentences: those that are
// not believed, values of replaced instruments among them, and a last one that is far
// ahead of the usual pace.
func (v *View) Doubts() map[event.ID][]string {
	out := map[event.ID][]string{}
	chains := v.Rec.Chains()
	for i := range chains {
		c := &chains[i]
		for _, p := range c.Points {
			if !p.Accepted {
				out[p.ID] = append(out[p.ID], v.DisputedText(c, p))
			}
		}
		for _, d := range c.Doubted {
			out[d.Of.ID] = append(out[d.Of.ID], v.DoubtedText(c, &d))
		}
		if p, text := v.aheadText(c); text != "" {
			out[p.ID] = append(out[p.ID], text)
		}
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

// aheadText asks about a last reading that is believed, and far ahead of the usual pace;
// "" where it is not.
func (v *View) aheadText(c *record.Chain) (record.Point, string) {
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
	text := fmt.Sprintf("The %s reads %s, %s more than on %s: at its usual pace that would be %s", c.Name, v.face(c, p.Face),
		v.Amount(p.Life-before.Life, c.Hours), v.dayOf(before.At), v.Amount(float64(u.PerSecond*ran), c.Hours))
	if meant := c.Slip(&p, &before, before.Face+float64(u.PerSecond*ran)); meant != "" {
		text += "; " + meant
	}
	return p, text + ". Is that right?"
}

// Place writes a life value as people find it: on the face of the instrument in use and,
// where there was another before, in all.
func (v *View) Place(c *record.Chain, life float64) string {
	face, replaced := c.Face(life)
	in := v.Amount(life, c.Hours) + " in all"
	switch {
	case !replaced:
		return v.face(c, face)
	case face < 0:
		return in + ", which the " + c.Name + " before this one showed"
	}
	return fmt.Sprintf("%s on the new %s (%s)", v.face(c, face), c.Name, in)
}

// reads says what the meter was last read to show, beside a point that it is due at: in
// all, too, where no more than that is known of the point.
func (v *View) reads(c *record.Chain, p record.Point, at float64) string {
	text := fmt.Sprintf("the %s reads %s", c.Name, v.face(c, p.Face))
	if face, replaced := c.Face(at); replaced && face < 0 {
		text += " (" + v.Amount(p.Life, c.Hours) + " in all)"
	}
	return text
}
