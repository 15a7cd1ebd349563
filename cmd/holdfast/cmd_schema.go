package main

import (
	"github.com/spf13/cobra"

	"holdfast/scenarios/schema"
)

func newSchemaCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "schema scenario|rig|result",
		Short: "Print the JSON Schema of a file, for editors and other programs",
		Long: `Prints the JSON Schema (draft 2020-12) of scenario files, rig files or result.json.
An editor with a YAML language server completes and checks a scenario whose first line is

  # yaml-language-server: $schema=scenario.schema.json

A schema knows words and units; holdfast check finds what the file as a whole gets wrong.` + exitHelp,
		Example:   `  holdfast schema scenario > scenario.schema.json`,
		Args:      wants("scenario, rig or result"),
		ValidArgs: schema.Names(),
		RunE: func(cmd *cobra.Command, args []string) error {
			text, err := schema.Read(args[0])
			if err != nil {
				return withStatus(exitUsage, err)
			}
			if _, err := cmd.OutOrStdout().Write(text); err != nil {
				return withStatus(exitInternal, err)
			}
			return nil
		},
	}
}
