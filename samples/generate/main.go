// Generate writes the sample fleet's year of events, one CloudEvent a line, in the
// order in which they were recorded. The same program always writes the same
// bytes.
//
//	go run ./samples/generate > samples/events.jsonl
package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
)

func main() {
	if err := write(os.Stdout); err != nil {
		fmt.Fprintf(os.Stderr, "generate: %v\n", err)
		os.Exit(1)
	}
}

// write makes the year and writes it.
func write(w io.Writer) error {
	y := newYear()
	for _, v := range y.fleet {
		y.cards(v)
	}
	y.stories()
	for _, v := range y.fleet {
		y.routine(v)
		y.readings(v)
	}
	out := bufio.NewWriter(w)
	if err := y.encode(out); err != nil {
		return err
	}
	return out.Flush()
}
