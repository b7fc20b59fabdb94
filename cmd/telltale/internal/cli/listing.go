package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"

	"telltale/engine/stream/service"
)

// Printable takes away what could drive a terminal or turn its text around.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r)) {
			return -1
		}
		return r
	}, s)
}

// Encode writes v as a JSON object on a line.
func Encode(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// Lacking is err, where partitions did not answer with an exit code of its own and
// what to do.
func Lacking(err error) error {
	if i := Incomplete(err); i != nil {
		return Exit(3, Hint(i, "the answer lacks their vehicles; ask again in a moment"))
	}
	return err
}

// Incomplete is the part of err that says which partitions did not answer; nil where
// all did.
func Incomplete(err error) (i *service.Incomplete) {
	errors.As(err, &i)
	return i
}

// Listing prints a list, a line or a JSON object each; empty says so on stderr. A
// list that lacks the vehicles of some partitions says so too: in JSON by a last
// object with their numbers.
func Listing[T any](s Env, asJSON bool, list []T, err error, empty string, line func(T) string) error {
	missing := Incomplete(err)
	if err != nil && missing == nil {
		return err
	}
	if len(list) == 0 && missing == nil {
		fmt.Fprintln(s.Err, empty)
	}
	for _, item := range list {
		if asJSON {
			err = Encode(s.Out, item)
		} else {
			_, err = fmt.Fprintln(s.Out, Printable(line(item)))
		}
		if err != nil {
			return fmt.Errorf("writing the list: %w", err)
		}
	}
	if missing == nil {
		return nil
	}
	if asJSON {
		if err := Encode(s.Out, map[string][]int{"unanswered": missing.Partitions}); err != nil {
			return fmt.Errorf("writing the list: %w", err)
		}
	}
	return Lacking(missing)
}
