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

// takeUnits reads one unit each of distance, of volume, of temperature and of pressure, or
// some of them: "miles and quarts". What is left out is as usual beside the others.
func takeUnits(f *Fleet, a string) error {
	const form = "write km or mi, and L, qt or gal, and degC or degF, and kPa, bar or psi, such as mi,qt"
	var names []string
	for word := range strings.FieldsFuncSeq(a, func(r rune) bool { return r == ',' || r == ' ' || r == '/' }) {
		u := unit.Spoken(word)
		for _, name := range unit.Choices() {
			if strings.EqualFold(name, word) {
				u = name
			}
		}
		switch {
		case strings.EqualFold(word, "and"):
		case !slices.Contains(unit.Choices(), u):
			return cli.Hint(fmt.Errorf("%q is not a unit to read in", word), form)
		default:
			names = append(names, u)
		}
	}
	said, err := unit.SystemOf(names)
	if err != nil {
		return cli.Hint(err, "write one of each kind at most: mi,qt")
	}
	f.Units = beside(placeOf(f.Zone).units, said)
	return nil
}

// beside completes units by those that are usual beside them. Temperatures and pressures
// are left unsaid where they are metric.
func beside(usual, s unit.System) unit.System {
	switch {
	case s.Distance+s.Volume == "":
		s.Distance, s.Volume = usual.Distance, usual.Volume
	case s.Volume == "" && s.Distance == usual.Distance:
		s.Volume = usual.Volume
	case s.Volume == "" && s.Distance == "mi":
		s.Volume = "qt"
	case s.Volume == "":
		s.Volume = "L"
	case s.Distance == "" && s.Volume == "L":
		s.Distance = "km"
	case s.Distance == "":
		s.Distance = "mi"
	}
	if s.Distance == "mi" && s.Volume != "L" {
		s = s.Or(ofAmerica)
	}
	return s
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
