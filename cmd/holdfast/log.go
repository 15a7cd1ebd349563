package main

import (
	"io"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"holdfast/cmd/holdfast/console"
	"holdfast/cmd/holdfast/oplog"
)

// addLogFlag gives a command that runs long its --log-level.
func addLogFlag(cmd *cobra.Command, level *oplog.Level, usual zerolog.Level) {
	level.Level = usual
	cmd.Flags().Var(level, "log-level", "debug, info, warn, error or off: what is logged on standard error, "+
		"as JSON where that is no terminal")
}

// newLog logs on errOut: for a person on a terminal, else as JSON.
func newLog(errOut io.Writer, level oplog.Level) zerolog.Logger {
	return oplog.New(errOut, oplog.Options{Level: level.Level, Terminal: console.IsTerminal(errOut), Colour: oplog.Colour(), Now: now})
}

// logged takes the error that ended a command into the log where a program reads it. A person is told by main.
func logged(log *zerolog.Logger, errOut io.Writer, err error) error {
	message := messageOf(err)
	if message == "" || console.IsTerminal(errOut) || log.GetLevel() > zerolog.ErrorLevel {
		return err
	}
	log.Error().Int("exit_status", statusOf(err)).Msg(message)
	return withStatus(statusOf(err), nil)
}
