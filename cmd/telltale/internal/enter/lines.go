package enter

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"

	"github.com/spf13/pflag"

	"telltale/cmd/telltale/internal/cli"
)

// readJobs reads a file of jobs, one a line; what is wrong with any line is told of all.
func readJobs(s cli.Env, path string) ([]*typed, error) {
	in := s.In
	if path != "-" {
		file, err := os.Open(path)
		if err != nil {
			return nil, cli.Exit(2, err)
		}
		defer file.Close()
		in = file
	}
	lines, faults, err := parseJobs(in)
	if err != nil {
		return nil, cli.Exit(2, fmt.Errorf("reading %s: %w", path, err))
	}
	for _, f := range faults {
		fmt.Fprintf(s.Err, "%s:%v\n", path, f)
	}
	switch {
	case len(faults) > 0:
		return nil, cli.Exit(2, fmt.Errorf("%s: %d of %d lines have faults; nothing was entered", path, len(faults), len(lines)+len(faults)))
	case len(lines) == 0:
		return nil, cli.Exit(2, cli.Hint(fmt.Errorf("%s has no jobs", path), `a line is like: bus-07 "engine oil" --odometer 81200km`))
	}
	return lines, nil
}

func parseJobs(in io.Reader) (lines []*typed, faults []error, err error) {
	scan := bufio.NewScanner(in)
	for n := 1; scan.Scan(); n++ {
		text := strings.TrimPrefix(scan.Text(), "\uFEFF")
		args, err := words(text)
		if err == nil && len(args) == 0 {
			continue
		}
		t := flagsOf(pflag.NewFlagSet("job", pflag.ContinueOnError))
		t.set.SetOutput(io.Discard)
		if err == nil {
			err = t.set.Parse(commandless(args))
		}
		if t.line, t.args = n, t.set.Args(); err == nil && len(t.args) == 0 {
			err = errors.New("which vehicle?")
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("%d: %w", n, err))
			continue
		}
		lines = append(lines, t)
	}
	return lines, faults, scan.Err()
}

// commandless is a line without the command, if someone wrote it out.
func commandless(args []string) []string {
	if len(args) > 1 && args[0] == "telltale" && args[1] == "record" {
		return args[2:]
	}
	return args
}

// escapes reports whether a backslash takes away the meaning of the next character: of any
// outside quotes, of a few in double ones, of none in single ones.
func escapes(quote, next rune) bool {
	return quote == 0 || quote == '"' && strings.ContainsRune("\"\\$`", next)
}

// words splits a line as a shell does: at blanks, with quotes and backslashes, up to a #
// that begins a word.
func words(line string) (out []string, err error) {
	var word strings.Builder
	open, quote := false, rune(0)
	end := func() {
		if open {
			out = append(out, word.String())
		}
		word.Reset()
		open = false
	}
	runes := []rune(line)
	for i := 0; i < len(runes); i++ {
		switch c := runes[i]; {
		case quote != 0 && c == quote:
			quote = 0
		case c == '\\' && i+1 < len(runes) && escapes(quote, runes[i+1]):
			i++
			word.WriteRune(runes[i])
			open = true
		case quote != 0:
			word.WriteRune(c)
		case c == '"' || c == '\'':
			quote, open = c, true
		case unicode.IsSpace(c):
			end()
		case c == '#' && !open:
			return out, nil
		default:
			word.WriteRune(c)
			open = true
		}
	}
	end()
	if quote != 0 {
		return nil, fmt.Errorf("the quote %c is not closed", quote)
	}
	return out, nil
}
