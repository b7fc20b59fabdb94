package setup

import (
	"errors"
	"fmt"
	"net/mail"
	"slices"
	"strings"
	"unicode"

	"telltale/cmd/telltale/internal/cli"
	"telltale/rules/chapters"
	"telltale/rules/source"
	"telltale/rules/unit"
)

func takeName(f *Fleet, a string) error {
	if strings.ContainsFunc(a, unicode.IsControl) || len(a) > 100 {
		return cli.Hint(fmt.Errorf("the name %q must be one line of at most 100 letters", a), "write it like Ines Thornbeck")
	}
	f.Name = a
	return nil
}

// oneOf finds the answer among all, whatever the case, by its beginning if need be.
func oneOf(what, a string, all ...string) (string, error) {
	var found []string
	for _, one := range all {
		if strings.EqualFold(one, a) {
			return one, nil
		}
		if strings.HasPrefix(one, strings.ToLower(a)) {
			found = append(found, one)
		}
	}
	if len(found) == 1 {
		return found[0], nil
	}
	return "", cli.Hint(fmt.Errorf("%q is not %s", a, what), "write "+strings.Join(all, ", "))
}

func takeFor(f *Fleet, a string) (err error) {
	f.For, err = oneOf("who the messages are for", a, "owner", "workshop", "fleet")
	return err
}

func takeDates(f *Fleet, a string) (err error) {
	f.Dates, err = oneOf("an order of dates", a, "day first", "month first", "year first")
	return err
}

func takeSpelling(f *Fleet, a string) (err error) {
	f.Spelling, err = oneOf("a spelling", a, "en-GB", "en-US")
	return err
}

// takeUnits reads one unit of distance, of volume, or both: "miles and quarts". What is
// left out is as usual beside the other.
func takeUnits(f *Fleet, a string) error {
	f.Distance, f.Volume = "", ""
	for word := range strings.FieldsFuncSeq(strings.ToLower(a), func(r rune) bool { return r == ',' || r == ' ' || r == '/' }) {
		of := &f.Volume
		u := unit.Spoken(word)
		if u == "km" || u == "mi" {
			of = &f.Distance
		}
		switch {
		case word == "and":
		case u == "" || u == "h" || u == "min":
			return cli.Hint(fmt.Errorf("%q is not a unit of distance or volume", word), "write km or mi, and L, qt or gal: mi,qt")
		case *of != "":
			return cli.Hint(fmt.Errorf("%q names two units of one kind", a), "write one of distance and one of volume: mi,qt")
		default:
			*of = u
		}
	}
	usual := placeOf(f.Zone)
	switch {
	case f.Volume == "" && f.Distance == usual.distance:
		f.Volume = usual.volume
	case f.Volume == "" && f.Distance == "mi":
		f.Volume = "qt"
	case f.Volume == "":
		f.Volume = "L"
	case f.Distance == "" && f.Volume == "L":
		f.Distance = "km"
	case f.Distance == "":
		f.Distance = "mi"
	}
	return nil
}

func takeMail(f *Fleet, a string) error {
	const form = "write it like ines@larkfell.example"
	p, err := mail.ParseAddress(a)
	switch {
	case !strings.Contains(a, "@"):
		return cli.Hint(fmt.Errorf("the e-mail address %q has no @", a), form)
	case err != nil:
		return cli.Hint(fmt.Errorf("%q is not an e-mail address: %s", a, strings.TrimPrefix(err.Error(), "mail: ")), form)
	case p.Address != a || len(a) > 254 || strings.ContainsAny(a, "\"\\ "):
		return cli.Hint(fmt.Errorf("%q is more than an e-mail address", a), form)
	case strings.ContainsFunc(a, func(r rune) bool { return r < 33 || r > 126 }):
		return cli.Hint(fmt.Errorf("the e-mail address %q has letters beyond ASCII", a), "write the domain in its xn-- form")
	}
	f.Mail = a
	return nil
}

func takeChapters(f *Fleet, a string) error {
	f.Chapters = nil
	switch a {
	case "all":
		f.Chapters = chapters.All()
		return nil
	case "none":
		return nil
	}
	for name := range strings.FieldsFuncSeq(a, func(r rune) bool { return r == ',' || r == ' ' }) {
		c, err := cli.Chapter(name)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(f.Chapters, func(had chapters.Chapter) bool { return had.Name == c.Name }) {
			f.Chapters = append(f.Chapters, c)
		}
	}
	if len(f.Chapters) == 0 {
		return cli.Hint(errors.New("no chapter is named"), "telltale chapters lists them; or write all, or none")
	}
	return nil
}

// near is the hint that names what was likely meant.
func near(a string, names []string, other string) string {
	if n := source.Near(a, names); n != "" {
		return "did you mean " + n + "?"
	}
	return other
}
