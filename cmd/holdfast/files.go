package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/bench/yamltext"
	"holdfast/scenarios"
)

// loadScenario reads a scenario: a path, or the name of a shipped one. What is wrong is bad input.
func loadScenario(arg string) (*scenario.Plan, error) {
	text, shown, err := readFile("scenario", arg, scenarios.Names(), scenarios.Read)
	if err != nil {
		return nil, err
	}
	p, err := scenariofile.Parse(shown, text)
	return p, badInput(err)
}

// loadRig reads a rig: a path, or the name of a shipped one. Its message database is looked
// for beside it, then among the shipped ones.
func loadRig(arg string) (*rig.Rig, error) {
	text, shown, err := readFile("rig", arg, scenarios.RigNames(), scenarios.ReadRig)
	if err != nil {
		return nil, err
	}
	r, err := rigfile.Parse(shown, text, func(name string) ([]byte, error) {
		if strings.HasPrefix(shown, shippedPrefix) {
			return scenarios.ReadDBC(name)
		}
		return readDBC(filepath.Dir(shown), name)
	})
	return r, badInput(err)
}

const shippedPrefix = "shipped:"

// readFile returns the text of a path or of a shipped file, and how to show where it is from.
// A file beside us wins over a shipped one only when it is written as a path or ends in .yaml:
// what a name means must not depend on the folder one happens to stand in.
func readFile(what, arg string, shipped []string, read func(string) ([]byte, string, error)) ([]byte,
	string, error) {
	if !isPath(arg) {
		text, shown, err := read(arg)
		if near := yamltext.Near(arg, shipped); err != nil && near != "" {
			err = fmt.Errorf("%w; did you mean %s?", err, near)
		}
		return text, shown, badInput(err)
	}
	text, err := readBounded(arg)
	if errors.Is(err, fs.ErrNotExist) {
		err = fmt.Errorf("no %s at %s; give a path or the name of a shipped one: %s", what, arg,
			strings.Join(shipped, ", "))
	}
	return text, arg, badInput(err)
}

func isPath(arg string) bool {
	return strings.ContainsAny(arg, `/\`) || strings.HasSuffix(arg, ".yaml") || strings.HasSuffix(arg, ".yml")
}

// readBounded refuses a file too large to be one of ours, and a device that never ends, before it is in memory.
func readBounded(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, yamltext.MaxSize+1))
	if err != nil {
		return nil, err
	}
	if len(text) > yamltext.MaxSize {
		return nil, fmt.Errorf("%s is larger than the limit of %d bytes", path, yamltext.MaxSize)
	}
	return text, nil
}

func readDBC(dir, name string) ([]byte, error) {
	text, err := readBounded(filepath.Join(dir, filepath.Clean(name)))
	if errors.Is(err, fs.ErrNotExist) {
		if shipped, errShipped := scenarios.ReadDBC(name); errShipped == nil {
			return shipped, nil
		}
	}
	return text, err
}

func badInput(err error) error {
	if err == nil {
		return nil
	}
	return withStatus(exitUsage, err)
}
