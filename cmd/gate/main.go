// Command gate is what the Makefile and .ci/run need beside the go command: it runs the tests and says which were
// slow, and it keeps the tables of testdata/evidence. No part of it is in the program that users get.
//
//	gate test [ARGUMENT...]        go test with these arguments: a line a package, what failed, the five slowest tests
//	gate evidence                  which tables are older than what they speak of, or miss their bar; exit status 0
//	gate evidence -strict          the same, exit status 1 if there is one
//	gate evidence make [NAME...]   make these tables anew; none named: all of them
//	gate mutants [-n N] PACKAGE... do the tests notice when an operator of the package is changed?
package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		// Tests that failed have said so.
		if failed := new(exec.ExitError); os.Args[1] != "test" || !errors.As(err, &failed) {
			fmt.Fprintln(os.Stderr, "gate:", err)
		}
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) == 0 {
		return errors.New("say what to do: test, evidence or mutants")
	}
	switch args[0] {
	case "test":
		return runTests(os.Stdout, args[1:])
	case "evidence":
		return runEvidence(os.Stdout, ".", args[1:])
	case "mutants":
		return runMutants(os.Stdout, ".", args[1:])
	}
	return fmt.Errorf("%q is not known: test, evidence or mutants", args[0])
}
