package judge

import (
	"telltale/engine/bottle"
	"telltale/rules/word"
)

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
