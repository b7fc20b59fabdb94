package main

import (
	"encoding/json"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"telltale/rules"
)

func checkCommand(s streams) *cobra.Command {
	return &cobra.Command{
		Use:   "check DIR",
		Short: "Check a folder's rules, vehicles, people and settings, and show every fault",
		Args:  cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			dir := args[0]
			if !exists(filepath.Join(dir, "rules")) {
				book, err := loadBook(dir) // a folder of rules alone
				if err != nil {
					return err
				}
				return checked(s, dir, book)
			}
			f, err := loadFleet(dir)
			if err != nil {
				return err
			}
			return checked(s, dir, f.book)
		},
	}
}

func checked(s streams, dir string, b *rules.Book) error {
	for i := range b.Questions {
		fmt.Fprintf(s.out, "question: %s\n", b.Questions[i].String())
	}
	fmt.Fprintf(s.err, "%s: %d rules, %d tasks, %d baselines, no faults\n", dir, len(b.Rules), len(b.Tasks), len(b.Baselines))
	return nil
}

func wordsCommand(s streams) *cobra.Command {
	rulesCmd := &cobra.Command{Use: "rules", Short: "About the rule language"}
	var asJSON bool
	words := &cobra.Command{
		Use:   "words",
		Short: "List what a rule may ask",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return listing(s, asJSON, rules.Words(), nil, "", func(w rules.WordInfo) string {
				return fmt.Sprintf("%s  (%s)\n    %s\n    for example: %s\n    source: %s", w.Signature, orRatio(w.Unit), w.Meaning, w.Example, w.Source)
			})
		},
	}
	words.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	rulesCmd.AddCommand(words)
	return rulesCmd
}

func orRatio(unit string) string {
	if unit == "" {
		return "a ratio"
	}
	return unit
}

var _ = json.Marshal
