package engine

import (
	"cmp"
	"slices"

	"telltale/engine/doubt"
	"telltale/engine/event"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/rules/dataalarm"
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
			back.tell(doubt.Back(&f.View, c, &b), b.Low.ID)
		}
		if len(c.Backs) > 0 && (advice == "" || c.Backs[0].Open) {
			advice = doubt.BackAdvice(&f.View, c)
		}
		for _, d := range c.Doubted {
			odd.tell(doubt.Replaced(&f.View, c, &d), d.Of.ID)
		}
		switch p, ok := lastDisputed(c); {
		case ok && getsBeyond(c, p):
		case ok && p.Why != meter.GoingBack:
			odd.tell(doubt.Disputed(&f.View, c, p), p.ID)
		case ok && littleBack(c, p):
			back.tell(doubt.Disputed(&f.View, c, p), p.ID)
		}
	}
	// One that the book switched off asks for no move, and is withdrawn with that.
	if !f.Book.Data.NoGoingBack {
		f.dataMove(doubt.GoingBack, back.texts, back.ids, cmp.Or(advice, doubt.TakeOut(f.Rec.Shown(), back.ids)), f.settledWords())
	}
	if !f.Book.Data.NoImplausible {
		f.dataMove(dataImplausible, odd.texts, odd.ids, doubt.OddAdvice(f.Rec.Shown(), odd.ids), f.settledWords())
	}
	if f.Book.Data.Silent != (dataalarm.Silence{}) {
		f.judgeSilence()
	}
}

// lastDisputed is the meter's last reading, if it is disputed.
func lastDisputed(c *record.Chain) (p record.Point, ok bool) {
	if n := len(c.Points); n > 0 && !c.Points[n-1].Accepted {
		return c.Points[n-1], true
	}
	return p, false
}

// getsBeyond reports whether the last reading fits the higher ones of a meter that went
// back, and is in doubt for the lower ones alone: of those people were told.
func getsBeyond(c *record.Chain, p record.Point) bool {
	last, ok := c.LastRead(p.At)
	_, open := c.UntoldSince()
	return ok && open && c.Follows(&last, &p)
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

// settledWords are what ended it.
func (f *fold) settledWords() string {
	switch d := f.ev.Data.(type) {
	case *event.MeterReplacedData:
		return "Settled: the instrument was replaced"
	case *event.VoidData:
		return "Settled: the wrong reading was taken back"
	case *event.AnswerData:
		return english.Sentences("Settled by "+cmp.Or(d.By, f.ev.ID.Source), d.Why)
	}
	return "The readings fit again"
}
