// Command holdfast tests rebuilt DEF supply units on a CAN bus: see README.md.
//
// This package is the command line: flags in, calls out. It holds no formula, no protocol and no SQL.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"runtime/debug"

	"holdfast/cmd/holdfast/console"
)

// version is set by the linker (make build).
var version = "unreleased"

func main() {
	os.Exit(execute(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// execute runs one command line and returns the exit status.
func execute(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) (status int) {
	defer func() {
		if p := recover(); p != nil { // a run has sent its safe state before it could come here
			fmt.Fprintf(errOut, "holdfast: internal error: %v\n%s", p, debug.Stack())
			status = exitInternal
		}
	}()
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	cmd, err := root.ExecuteContextC(ctx)
	err = spokenUsage(cmd, err)
	if message := messageOf(err); message != "" {
		fmt.Fprintln(errOut, "holdfast: "+console.PlainLines(message))
	}
	return statusOf(err)
}
