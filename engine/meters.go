package engine

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/rules/english"
)

// judgeMeters raises the data alarms on readings. One on a meter that goes back stands
// until somebody says why: by a replaced instrument, a void, or an answer. One on a
// reading that is implausible stands while it is the meter's last; a later one that fits
// clears it. One on a value of a replaced instrument stands until that is put right.
func (f *fold) judgeMeters() {
	var back, odd told
	advice := ""
	chains := f.Rec.Chains()
	for i := range chains {
		c := &chains[i]
		for _, b := range c.Backs {
			back.tell(f.BackText(c, &b), b.Low.ID)
		}
		if len(c.Backs) > 0 && (advice == "" || c.Backs[0].Open) {
			advice = f.backAdvice(c)
		}
		for _, d := range c.Doubted {
			odd.tell(f.DoubtedText(c, &d), d.Of.ID)
		}
		switch p, ok := lastDisputed(c); {
		case ok && p.Why != meter.GoingBack:
			odd.tell(f.DisputedText(c, p), p.ID)
		case ok && littleBack(c, p):
			back.tell(f.DisputedText(c, p), p.ID)
		}
	}
	f.dataMove(dataGoingBack, back.texts, back.ids, cmp.Or(advice, takeOut(f.Rec.Vehicle, back.ids)), f.settledWords())
	f.dataMove(dataImplausible, odd.texts, odd.ids, oddAdvice(f.Rec.Vehicle, odd.ids), f.settledWords())
	f.judgeSilence()
}

// lastDisputed is the meter's last reading, if it is disputed.
func lastDisputed(c *record.Chain) (p record.Point, ok bool) {
	if n := len(c.Points); n > 0 && !c.Points[n-1].Accepted {
		return c.Points[n-1], true
	}
	return p, false
}

// littleBack reports whether the last reading goes back by too little to be counted as
// going back, and by more than what is written in whole units after one with decimals.
func littleBack(c *record.Chain, p record.Point) bool {
	last, ok := c.LastRead(p.At)
	told := func(b record.Back) bool { return b.Low.ID == p.ID || b.Open }
	return ok && last.Face-p.Face >= c.WholeUnit() && !slices.ContainsFunc(c.Backs, told)
}

// told are sentences, each with the event that it is about.
type told struct {
	texts []string
	ids   []event.ID
}

func (t *told) tell(text string, id event.ID) {
	t.texts, t.ids = append(t.texts, text), append(t.ids, id)
}

func oddAdvice(vehicle string, ids []event.ID) string {
	return "Read the instrument again and send the right value. " + takeOut(vehicle, ids)
}

// takeOut is the command that takes a wrong entry out; of several one is enough to see how.
func takeOut(vehicle string, ids []event.ID) string {
	if len(ids) == 0 {
		return ""
	}
	return "Take a wrong one out: telltale undo " + typed(vehicle) + " " + typed(ids[0].ID)
}

// typed is a name as it is typed in a command.
func typed(name string) string {
	if strings.ContainsFunc(name, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("-_./", r)
	}) {
		return strconv.Quote(name)
	}
	return name
}

// settledWords are what ended it.
func (f *fold) settledWords() string {
	switch d := f.ev.Data.(type) {
	case *event.MeterReplacedData:
		return "Settled: the instrument was replaced"
	case *event.VoidData:
		return "Settled: the wrong reading was taken out"
	case *event.AnswerData:
		return english.Sentences("Settled by "+cmp.Or(d.By, f.ev.ID.Source), d.Why)
	}
	return "The readings fit again"
}

// backAdvice names the usual causes, each with what to do about it.
func (f *fold) backAdvice(c *record.Chain) string {
	v, b := typed(f.Rec.Vehicle), c.Backs[0]
	if !b.Open {
		wrong := b.Low
		if wrong.Accepted {
			wrong = b.High
		}
		return "The readings around it fit one another, so it was wrong. Acknowledge this, or take it out: telltale undo " + v + " " + typed(wrong.ID.ID)
	}
	value := func(p record.Point) string {
		n, u := f.Shown(p.Face, c.Hours)
		return strconv.FormatFloat(n, 'f', -1, 64) + u
	}
	on := interval.DateOf(time.Unix(0, b.Low.At), f.Applied().Zone).String()
	return strings.Join([]string{
		"Look at the instrument.",
		"If it was replaced and nobody entered that: telltale meter replaced " + v + " --meter " + typed(c.Name) + " --old " + value(b.High) + " --new " + value(b.Low) + " --on " + on + ".",
		"If readings are wrong (miles sent as kilometres, two digits swapped, another vehicle's), take them out: telltale undo " + v + " " + typed(b.Low.ID.ID) + ".",
		"If the lower readings are right for another reason: telltale answer " + v + ` "` + dataGoingBack + `" accept --by NAME`,
	}, " ")
}
