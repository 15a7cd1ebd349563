// Package scenarios holds the test sequences and rigs that are shipped inside the program.
// README.md beside this file is the language on one page.
//
// It reads and checks nothing: the files are text like those a person writes, and are checked
// by the same readers.
package scenarios

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
)

//go:embed *.yaml rigs/*.yaml rigs/*.dbc
var files embed.FS

// Names returns the names of the shipped scenarios, sorted.
func Names() []string { return stems(".") }

// RigNames returns the names of the shipped rigs, sorted.
func RigNames() []string { return stems("rigs") }

// Read returns a shipped scenario and the path to show in messages.
func Read(name string) (text []byte, shown string, err error) {
	return read("scenario", Names(), name, name+".yaml")
}

// ReadRig returns a shipped rig and the path to show in messages.
func ReadRig(name string) (text []byte, shown string, err error) {
	return read("rig", RigNames(), name, "rigs/"+name+".yaml")
}

// ReadDBC returns a message database shipped beside the rigs.
func ReadDBC(name string) ([]byte, error) {
	if !fs.ValidPath(name) || strings.Contains(name, "/") {
		return nil, fmt.Errorf("no shipped message database is called %q", name)
	}
	text, err := files.ReadFile("rigs/" + name)
	if err != nil {
		return nil, fmt.Errorf("no shipped message database is called %q", name)
	}
	return text, nil
}

func read(what string, names []string, name, file string) ([]byte, string, error) {
	for _, n := range names {
		if n == name {
			text, err := files.ReadFile(file)
			return text, "shipped:" + file, err
		}
	}
	return nil, "", fmt.Errorf("no shipped %s is called %q; there are: %s", what, name, strings.Join(names, ", "))
}

func stems(dir string) []string {
	entries, err := files.ReadDir(dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range entries {
		if stem, ok := strings.CutSuffix(e.Name(), ".yaml"); ok && !e.IsDir() {
			out = append(out, path.Base(stem))
		}
	}
	slices.Sort(out)
	return out
}
