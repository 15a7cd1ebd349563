package main

import (
	"errors"
	"fmt"

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

// explainFlag says what would do where a flag is wrong.
func explainFlag(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown):
		return fmt.Errorf("%w; %s --help lists the flags", err, cmd.CommandPath())
	case errors.As(err, &invalid) && invalid.GetFlag().Value.Type() == "duration":
		return fmt.Errorf("--%s %s: a time has a unit: 10s, 5m or 8h", invalid.GetFlag().Name, invalid.GetValue())
	}
	return err
}

// neitherFileNor says that a name is no recording either, where one would do as well as a bus.
func neitherFileNor(from string, err error) error {
	return fmt.Errorf("%s is neither a file nor a CAN interface: %w", from, err)
}

// errOnlyInside is for commands that need a bus which another program is on too.
func errOnlyInside(command string) error {
	return withStatus(exitUsage, errors.New(command+": the bus sim lives inside one process and ends with it; "+
		"holdfast sim --bus unix:/tmp/bench makes one between processes, to be named here as unix:/tmp/bench"))
}
