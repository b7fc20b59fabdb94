package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/stream/service"
	"telltale/rules/english"
)

// Printable is [english.Printable].
func Printable(s string) string { return english.Printable(s) }

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
		return Exit(3, Hint(i, "their vehicles are missing from this answer; try again in a moment"))
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

// Where is a vehicle and, unless it is "", its component.
func Where(vehicle, component string) string { return strings.TrimSpace(vehicle + " " + component) }

// TransitionLine is a transition as a terminal shows it: when, what, to what.
func TransitionLine(t *alarm.Transition) string {
	stage := t.To
	if t.Transition == alarm.Eased || t.Transition == alarm.Cleared || t.Transition == alarm.Withdrawn {
		stage = t.From + " -> " + t.To
	}
	line := fmt.Sprintf("%s  %-22s %-12s %-9s %s", t.Time.Format("2006-01-02 15:04"), Where(t.Vehicle, t.Component), t.Transition, stage, t.Rule)
	if t.Message != "" {
		line += "\n" + strings.Repeat(" ", 18) + t.Message
	}
	return Printable(line)
}

// RefusalLine is an event, or a part of one, that could not be used, and why.
func RefusalLine(r *alarm.Refusal) string {
	at := ""
	if r.Line > 0 {
		at = fmt.Sprintf("line %d: ", r.Line)
	}
	from := r.Vehicle
	if r.Event != nil {
		from = strings.TrimSpace(from + " " + r.Event.Source + " " + r.Event.ID)
	}
	if !r.Time.IsZero() {
		from = strings.TrimSpace(r.Time.Format("2006-01-02 15:04") + " " + from)
	}
	if from != "" {
		from = " (" + from + ")"
	}
	word := "refused: "
	if r.Kept {
		word = "not used: "
	}
	return Printable(word + at + r.Refused + from)
}

// NotJudgedLine is a rule that could not be judged, and what was missing.
func NotJudgedLine(n *alarm.NotJudged) string {
	return fmt.Sprintf("%s  %-22s not judged   %s: missing %s", n.Time.Format("2006-01-02 15:04"), Where(n.Vehicle, n.Component), n.Rule, strings.Join(n.Missing, ", "))
}

// Strangers says which vehicles nobody registered; the list itself has no place for
// them, since nothing of theirs was judged.
func Strangers(s Env, vehicles []string) {
	const most = 20
	if len(vehicles) == 0 {
		return
	}
	more := ""
	if n := len(vehicles) - most; n > 0 {
		vehicles, more = vehicles[:most], fmt.Sprintf(" and %d more", n)
	}
	fmt.Fprintf(s.Err, "not registered: %s%s; their events are kept for 90 days and judged once they are registered\n", strings.Join(vehicles, ", "), more)
}
