package english

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Spelling is how a reader has our own words spelled. They are written in British
// English; the zero Spelling leaves them as they are.
type Spelling uint8

// The spellings, named as in BCP 47: en-GB, en-US.
const (
	British Spelling = iota
	American
)

// Spellings are the names of the spellings, in their order.
func Spellings() []string { return []string{British: "en-GB", American: "en-US"} }

// american has the words of ours that Americans spell otherwise or call something else.
// It holds what our texts say and no more, and no word that could mean another thing: a
// test goes through the texts.
var american = map[string]string{
	"aluminium": "aluminum", "tyre": "tire", "petrol": "gasoline", "colour": "color", "grey": "gray",
	"centre": "center", "litre": "liter", "millilitre": "milliliter", "metre": "meter", "kilometre": "kilometer",
	"millimetre": "millimeter", "vapour": "vapor", "sulphur": "sulfur", "neighbour": "neighbor", "odour": "odor",
	"mould": "mold", "fibre": "fiber", "kerb": "curb", "ageing": "aging", "judgement": "judgment", "licence": "license",
	"labelled": "labeled", "unlabelled": "unlabeled", "modelled": "modeled", "cancelled": "canceled",
	"neutralise": "neutralize", "normalise": "normalize", "oxidise": "oxidize", "pressurise": "pressurize",
	"recognise": "recognize", "standardise": "standardize", "generalise": "generalize", "summarise": "summarize",
	"organise": "organize", "oxidisation": "oxidation", "windscreen": "windshield", "calliper": "caliper",
}

// ourWord is a word with what English puts at its end.
var ourWord = regexp.MustCompile(`\p{L}+`)

// Of writes our own text in the spelling. What stands in keep, such as a vehicle's name,
// is somebody else's and stays as it is wherever the text holds it.
func (s Spelling) Of(text string, keep ...string) string {
	if s == British || text == "" {
		return text
	}
	for i, k := range keep {
		if k == "" {
			continue
		}
		if before, after, found := strings.Cut(text, k); found {
			return s.Of(before, keep[i:]...) + k + s.Of(after, keep[i:]...)
		}
	}
	return ourWord.ReplaceAllStringFunc(text, americanOf)
}

// endings are those of a word that ends in a consonant or in e, longest first.
var endings = []string{"ing", "less", "ed", "es", "ly", "s", "d", ""}

func americanOf(word string) string {
	lower := strings.ToLower(word)
	for _, end := range endings {
		stem, ok := strings.CutSuffix(lower, end)
		to := american[stem]
		if !ok || to == "" {
			if to = american[stem+"e"]; !ok || to == "" || end != "ing" && end != "ed" {
				continue
			}
			to = strings.TrimSuffix(to, "e")
		}
		return cased(word, to+end)
	}
	return word
}

// cased writes a word in small letters as the other one stood.
func cased(as, word string) string {
	first, n := utf8.DecodeRuneInString(as)
	switch {
	case len(as) > n && as == strings.ToUpper(as):
		return strings.ToUpper(word)
	case unicode.IsUpper(first):
		return Capital(word)
	}
	return word
}
