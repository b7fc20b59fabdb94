package judge

import (
	"fmt"
	"strconv"

	"telltale/engine/bottle"
	"telltale/engine/lab"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Words that put a name or a number of the trade to what the sheet shows: charts of
// small rises, cleanliness, viscosity at another temperature, base and acid, another fluid.

// charted answers whether a chart of small rises signals.
func charted(chart func(lab.Sheet, string) (lab.Shift, string, bool)) func(*Facts, string) (bool, string, bool) {
	return func(x *Facts, arg string) (bool, string, bool) {
		c, why, ok := chart(x.Sheet, arg)
		return c.Out(), why, ok
	}
}

// shiftNote tells the statistic of such a chart beside its limit.
func shiftNote(chart func(lab.Sheet, string) (lab.Shift, string, bool), statistic string) note {
	return func(x *Facts, _ word.Word, arg string) string {
		c, _, ok := chart(x.Sheet, arg)
		if !ok {
			return ""
		}
		return x.shiftWords(c, statistic)
	}
}

func (x *Facts) shiftWords(c lab.Shift, statistic string) string {
	rate := func(v float64) string { return x.v.rate(v, c.Per) }
	return fmt.Sprintf("the first %s made %s in %s on average; %s of the %s since: %s, limit %s", english.Plural(c.First, "sample"),
		rate(c.Centre), x.v.per(c.Per), statistic, english.Plural(c.After, "sample"), rate(c.Value), rate(c.Limit))
}

func (x *Facts) viscosityAt(arg string) (float64, string, bool) {
	celsius, _ := strconv.ParseFloat(arg, 64) // the rule's compiler wrote it
	return x.Sheet.ViscosityAt(celsius)
}

// codeNote says where the sheet printed the code itself.
func (x *Facts) codeNote(_ word.Word, arg string) string {
	if _, counted := x.Sheet.Result(arg); counted {
		return ""
	}
	return "as given on the sheet"
}

func (x *Facts) fewNote(_ word.Word, arg string) string {
	if !x.Sheet.FewCounted(arg) {
		return ""
	}
	return "under 20 in 1 mL; if under 20 were counted in all, the code is at least this (ISO 4406); the sheet does not say how much fluid was counted"
}

// classNote names a class that is no plain number.
func (x *Facts) classNote(_ word.Word, arg string) string {
	class, _, ok := x.Sheet.AS4059(arg)
	if !ok || class > 0 && class <= 12 {
		return ""
	}
	return "class " + lab.ClassName(int(class))
}

// restsOnFluid goes back to the exchange of all the fluid, or of nobody knows how much.
func (x *Facts) restsOnFluid() {
	x.restsOnSample()
	for i := len(x.steps.Steps) - 2; i >= 0; i-- {
		x.useStep(i)
		if s := &x.steps.Lab[i]; s.Exchange && !(s.Share < 1) {
			return
		}
	}
}

func acidCrossing(per unit.Kind) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, _ string) (float64, string, bool) {
		c, why, ok := x.Sheet.AcidCrossing(per)
		return c.Further, why, ok
	}
}

// acidNote says what the crossing rests on.
func acidNote(per unit.Kind) note {
	return func(x *Facts, _ word.Word, _ string) string {
		c, _, ok := x.Sheet.AcidCrossing(per)
		how := "along a line"
		if c.Decays {
			how = "by decay"
		}
		switch of := english.Plural(c.Samples, "sample") + " of this fluid"; {
		case !ok:
			return ""
		case c.Further == 0 && !c.Beyond:
			return "the acid number has reached the base number"
		case c.Beyond:
			return "from " + of + ", the base number falling " + how + ": not in sight; beyond twice the greatest age sampled it is not known"
		default:
			return "from " + of + ", the base number falling " + how
		}
	}
}

// Nearest is the other fluid that the sample is nearest to; why says what is missing.
func (x *Facts) Nearest() (n bottle.Nearest, why string, ok bool) {
	a := x.v.Applied()
	return bottle.Of(&x.Sheet, bottle.All(x.v.Book, a.Rules, a.Comps, x.of, x.Sheet.Fresh))
}

func (x *Facts) nearerFluid(string) (bool, string, bool) {
	n, why, ok := x.Nearest()
	return ok && n.Clearly(), why, ok
}

func (x *Facts) nearestNote(word.Word, string) string {
	n, _, ok := x.Nearest()
	if !ok {
		return ""
	}
	return "nearest other fluid: " + n.Words()
}
