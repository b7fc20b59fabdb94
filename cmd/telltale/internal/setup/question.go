package setup

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"strings"

	"telltale/cmd/telltale/internal/cli"
	"telltale/rules/chapters"
	"telltale/rules/english"
)

// question is one of those that make a folder. Usual is the answer to an empty line, and
// to a flag that is left out, by what was answered before; where it is nil an answer is
// needed. A question without ask is a flag alone.
type question struct {
	flag, help, ask string
	usual           func(f *Fleet) string
	take            func(f *Fleet, answer string) error
}

// questions are in the order in which they are asked: what is usual in a place follows
// from its zone.
var questions = []question{
	{"name", "your name, or that of the workshop or fleet", "Whose vehicles are they?", nil, takeName},
	{"for", "who reads the messages: owner, workshop or fleet (owner)", "For an owner, a workshop or a fleet?",
		func(*Fleet) string { return "owner" }, takeFor},
	{"zone", "time zone, such as Europe/London or Central (this machine's)", "Time zone, such as Europe/London or Central?",
		func(*Fleet) string { return localZone() }, takeZone},
	{"units", "units to read in, such as km,L or mi,qt,degF,psi (as usual in the zone)", "Units of distance and of fluids, such as km,L or mi,qt?", usualUnits, takeUnits},
	{"dates", "day first, month first or year first (as usual in the zone)", "Dates: day first, month first or year first?", usualDates, takeDates},
	{"mail", "your mail address", "Which e-mail address should messages go to?", nil, takeMail},
	{"chapters", "ready-made rules to start with: names separated by commas, all, or none (all)", "Which ready-made rules (names with commas between, all, or none)?",
		func(*Fleet) string { return "all" }, takeChapters},
	{"spelling", "en-GB or en-US (as usual in the zone)", "", usualSpelling, takeSpelling},
}

// answered takes each answer from its flag, or asks for it, or takes the usual one.
// What the flags have wrong is said at once, before anything is asked.
func answered(s cli.Env, given []string, ask bool) (*Fleet, error) {
	f := &Fleet{}
	var missing []string
	var faults []error
	for i, q := range questions {
		answer := strings.TrimSpace(given[i])
		switch {
		case answer == "" && ask:
			continue
		case answer == "" && q.usual == nil:
			missing = append(missing, "--"+q.flag)
			continue
		case answer == "":
			answer = q.usual(f)
		}
		if err := q.take(f, answer); err != nil {
			faults = append(faults, errors.New("--"+q.flag+": "+cli.WithHint(err)))
		}
	}
	if len(missing) > 0 {
		faults = append(faults, cli.Hint(errors.New("this is not a terminal, so no questions are asked: give "+english.List("and", missing)),
			`telltale init fleet --name "Ines Thornbeck" --mail ines@larkfell.example; the other flags may be left out`))
	}
	if err := errors.Join(faults...); err != nil || !ask {
		return f, err
	}
	return f, askRest(s, given, f)
}

// askRest asks for what no flag gave.
func askRest(s cli.Env, given []string, f *Fleet) error {
	in := bufio.NewScanner(s.In)
	for i, q := range questions {
		switch {
		case strings.TrimSpace(given[i]) != "":
			continue
		case q.ask == "":
			if err := q.take(f, q.usual(f)); err != nil {
				return err
			}
			continue
		}
		if err := q.put(s, in, f); err != nil {
			return err
		}
	}
	return nil
}

// put asks until the answer will do.
func (q *question) put(s cli.Env, in *bufio.Scanner, f *Fleet) error {
	for {
		fmt.Fprint(s.Err, q.ask+" ")
		if q.flag == "chapters" {
			fmt.Fprintln(s.Err)
			for _, c := range chapters.All() {
				fmt.Fprintf(s.Err, "  %s: %s\n", c.Name, c.About)
			}
		}
		usual := ""
		if q.usual != nil {
			usual = q.usual(f)
			fmt.Fprintf(s.Err, "[%s] ", usual)
		}
		if !in.Scan() {
			fmt.Fprintln(s.Err)
			return cli.Hint(errors.Join(errors.New("the input ended before the last answer; nothing was written"), in.Err()), "answer all of them, or give --"+q.flag)
		}
		answer := cmp.Or(strings.TrimSpace(in.Text()), usual)
		err := errors.New("an answer is needed")
		if answer != "" {
			err = q.take(f, answer)
		}
		if err == nil {
			return nil
		}
		fmt.Fprintln(s.Err, cli.WithHint(err))
	}
}
