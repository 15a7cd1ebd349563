package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Whatever is wrong on a command line, the answer says what would do.
func TestCommandLine_SaysWhatWouldDo(t *testing.T) {
	for want, args := range map[string][]string{
		"RUN is missing: holdfast report RUN":                    {"report"},
		`"b" is one word too many: holdfast store backup FOLDER`: {"store", "backup", "a", "b"},
		"unknown flag: --nope; holdfast history --help lists":    {"history", "--nope"},
		"unknown shorthand flag: 'n' in -n; holdfast sim --help": {"sim", "-n"},
		"--listen 3: a time has a unit: 10s, 5m or 8h":           {"intake", "--serial", "A", "--listen", "3"},
		"--for soon: a time has a unit: 10s, 5m or 8h":           {"scan", "sim", "--for", "soon"},
	} {
		require.Contains(t, must(t, exitUsage, args...), want)
	}
}
