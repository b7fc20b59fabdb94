package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"telltale/rules/schema"
)

func schemaCommand(s streams) *cobra.Command {
	return &cobra.Command{
		Use:       "schema rules|people|vehicles|import",
		Short:     "Print the JSON Schema of a kind of file, for editors with support for YAML",
		Args:      cobra.MatchAll(cobra.ExactArgs(1), cobra.OnlyValidArgs),
		ValidArgs: schema.Names,
		RunE: func(_ *cobra.Command, args []string) error {
			if _, err := s.out.Write(schema.Of(args[0])); err != nil {
				return fmt.Errorf("writing the schema: %w", err)
			}
			return nil
		},
	}
}
