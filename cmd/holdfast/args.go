package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// wants says which words a command line must have, and tells a person which one is missing.
func wants(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return fmt.Errorf("%s is missing: %s. %s --help has examples", names[len(args)], cmd.UseLine(),
				cmd.CommandPath())
		case len(args) > len(names):
			return fmt.Errorf("%q is one word too many: %s", args[len(names)], cmd.UseLine())
		}
		return nil
	}
}

// wantsSome is wants for a command that takes one word or more.
func wantsSome(name string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return wants(name)(cmd, args)
		}
		return nil
	}
}

// explainFlag says what to write where a flag is wrong.
func explainFlag(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown):
		return fmt.Errorf("%w; %s --help lists the flags", err, cmd.CommandPath())
	case errors.As(err, &invalid) && invalid.GetFlag().Value.Type() == "duration":
		return fmt.Errorf("--%s %s: write a time with its unit: 10s, 5m or 8h", invalid.GetFlag().Name, invalid.GetValue())
	case errors.As(err, &invalid) && slices.Contains(numbers, invalid.GetFlag().Value.Type()):
		return fmt.Errorf("--%s: %q is not a number; write digits only, for example 18400 or 0.5", invalid.GetFlag().Name,
			invalid.GetValue())
	}
	return err
}

// numbers are the types of flags that take a number.
var numbers = []string{"float64", "int", "uint", "uint8", "uint64"}

// spokenUsage turns what the command library says of a wrong line into what a person can act on. Errors of our
// own stay as they are.
func spokenUsage(cmd *cobra.Command, err error) error {
	var own *exit
	if err == nil || errors.As(err, &own) {
		return err
	}
	text := err.Error()
	if names, required := strings.CutPrefix(text, "required flag(s) "); required {
		names = strings.TrimSuffix(names, " not set")
		return fmt.Errorf("%s missing: %s. %s --help has examples", "--"+strings.ReplaceAll(strings.ReplaceAll(
			names, `"`, ""), ", ", ", --"), cmd.UseLine(), cmd.CommandPath())
	}
	if strings.HasPrefix(text, "unknown command ") {
		first, near, _ := strings.Cut(text, "\n\nDid you mean this?\n")
		if words := strings.Fields(near); len(words) > 0 {
			return fmt.Errorf("%s; did you mean %s?", first, strings.Join(words, " or "))
		}
		return fmt.Errorf("%s; %s --help lists them", first, cmd.CommandPath())
	}
	return err
}

// onlyGroup makes a command that only holds others refuse a word that names none of them.
func onlyGroup(cmd *cobra.Command) *cobra.Command {
	cmd.DisableFlagsInUseLine = true
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return cmd.Help()
		}
		return fmt.Errorf("unknown command %q for %q", args[0], cmd.CommandPath())
	}
	return cmd
}

// neitherFileNor says that a name is not a recording either, where both a recording and a bus are accepted.
func neitherFileNor(from string, err error) error {
	return fmt.Errorf("%s is neither a file nor a CAN interface: %w", from, err)
}

// errOnlyInside is for commands that need a bus which another program is on too.
func errOnlyInside(command string) error {
	return withStatus(exitUsage, errors.New(command+": the bus sim lives inside one process and ends with it; "+
		"holdfast sim --bus unix:/tmp/bench makes one between processes, to be named here as unix:/tmp/bench"))
}
