package cli

import (
	"errors"

	"telltale/rules/chapters"
)

// Chapter is the chapter of that name, or an error with what was likely meant.
func Chapter(name string) (chapters.Chapter, error) {
	c, err := chapters.Named(name)
	var u chapters.Unknown
	switch {
	case !errors.As(err, &u):
		return c, err
	case u.Near != "":
		return c, Exit(2, Hint(err, "did you mean "+u.Near+"?"))
	}
	return c, Exit(2, Hint(err, "telltale chapters lists them"))
}
