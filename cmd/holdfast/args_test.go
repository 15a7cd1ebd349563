package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Whatever is wrong on a command line, the answer says what to write.
func TestCommandLine_SaysWhatWouldDo(t *testing.T) {
	for want, args := range map[string][]string{
		"RUN is missing: holdfast report RUN":                    {"report"},
		`"b" is one word too many: holdfast store backup FOLDER`: {"store", "backup", "a", "b"},
		"unknown flag: --nope; holdfast history --help lists":    {"history", "--nope"},
		"unknown shorthand flag: 'n' in -n; holdfast sim --help": {"sim", "-n"},
		"--listen 3: write a time with its unit: 10s, 5m or 8h":  {"intake", "--serial", "A", "--listen", "3"},
		"--for soon: write a time with its unit: 10s, 5m or 8h":  {"scan", "sim", "--for", "soon"},
	} {
		require.Contains(t, must(t, exitUsage, args...), want)
	}
}

// What the command library says of a wrong line is said in words that a person can act on, in one line.
func TestUsage_InWords(t *testing.T) {
	for _, c := range []struct {
		line []string
		says string
	}{
		{[]string{"run"}, "SCENARIO is missing: holdfast run SCENARIO --rig RIG"},
		{[]string{"run", "release"}, "--bus, --rig, --serial missing: holdfast run SCENARIO"},
		{[]string{"export"}, "--to missing: holdfast export"},
		{[]string{"chek", "release"}, `unknown command "chek" for "holdfast"; did you mean check?`},
		{[]string{"nosuch"}, "holdfast --help lists them"},
		{[]string{"store", "chekc"}, `unknown command "chekc" for "holdfast store"; holdfast store --help lists them`},
		{[]string{"bus", "sow"}, "holdfast bus --help lists them"},
		{[]string{"intake", "--serial", "S", "--hours", "18400h"}, `--hours: "18400h" is not a number`},
		{[]string{"torture", "--seeds", "1e99999"}, `--seeds: "1e99999" is not a number`},
		{[]string{"watch", "--nosuch"}, "holdfast watch --help lists the flags"},
	} {
		status, out, errOut := holdfast(c.line...)
		require.Equal(t, exitUsage, status, "%v", c.line)
		require.Empty(t, out, "%v", c.line)
		require.Contains(t, errOut, c.says)
		require.Regexp(t, `^holdfast: [^\n\x{FFFD}]+\n$`, errOut, "%v", c.line)
	}
	status, out, _ := holdfast("store")
	require.Equal(t, exitDone, status)
	require.Contains(t, out, "instruments", "a group without a word shows its help")
	status, out, _ = holdfast("--version")
	require.Equal(t, exitDone, status)
	require.Equal(t, "holdfast "+version+"\n", out)
}
