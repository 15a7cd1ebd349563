// Package schema holds the JSON Schemas (draft 2020-12) of what holdfast reads and writes: scenario and
// rig files, so that an editor completes and checks them, and result.json, so that other programs can rely
// on its form.
//
// A schema knows the words and the units. What a file says as a whole (order of steps, overlapping signals,
// limits without their step) is found by holdfast check.
package schema

import (
	"embed"
	"fmt"
	"strings"
)

//go:embed *.schema.json
var files embed.FS

const tail = ".schema.json"

// Names returns the names of the schemas, sorted.
func Names() []string {
	entries, err := files.ReadDir(".")
	if err != nil {
		return nil
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), tail)
	}
	return names
}

// Read returns a schema's text.
func Read(name string) ([]byte, error) {
	text, err := files.ReadFile(name + tail)
	if err != nil {
		return nil, fmt.Errorf("no schema is called %q; there are: %s", name, strings.Join(Names(), ", "))
	}
	return text, nil
}
