package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What a person at the bench is told when a line cannot be right: what is wrong, where, and what to do.
func TestNodeCommands_WrongLines(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"empty.log": "", "bad.log": "garbage\n", "cut.pcapng": "\x0a\x0d\x0d\x0a\x00",
		"ok.log": "(1.0) can0 18FECA05#04FF0097038AFFFF\n", "own.dbc": "garbage\n"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
	t.Chdir(dir)
	for _, c := range []struct {
		line   string
		status int
		says   string
	}{
		{"scan", exitUsage, "BUS|FILE is missing: holdfast scan BUS|FILE"},
		{"scan a b", exitUsage, `"b" is one word too many`},
		{"scan nosuch0", exitBus, "nosuch0 is neither a file nor a CAN interface"},
		{"scan unix:/nowhere/bus", exitBus, "holdfast sim --bus unix:/nowhere/bus makes one"},
		{"scan .", exitUsage, ". is a folder"},
		{"scan bad.log", exitUsage, "line 1: not a CAN frame"},
		{"scan empty.log", exitUsage, "empty.log contains no CAN frames"},
		{"scan cut.pcapng", exitUsage, "cut.pcapng contains no CAN frames"},
		{"scan ok.log --for x", exitUsage, "write a time with its unit: 10s"},
		{"scan ok.log --nosuch", exitUsage, "holdfast scan --help lists the flags"},
		{"scan ok.log --conversion 7", exitUsage, "write 1, 2 or 3"},
		{"faults", exitUsage, "BUS|FILE is missing"},
		{"faults nosuchbus", exitBus, "neither a file nor a CAN interface"},
		{"faults nosuch.log", exitUsage, "nosuch.log: no such file"},
		{"faults nosuch.pcapng --previous", exitUsage, "nosuch.pcapng: no such file"},
		{"faults nosuch.log --clear --yes", exitUsage, "nosuch.log: no such file"},
		{"scan nosuch.LOG", exitUsage, "nosuch.LOG: no such file"},
		{"scan dir/nosuch", exitUsage, "dir/nosuch: no such file"},
		{"scan nosuch.log --passive", exitUsage, "nosuch.log: no such file"},
		{"scan nosuch0 --passive --for 1s", exitBus, "neither a file nor a CAN interface"},
		{"request nosuch.log 65259", exitUsage, "nosuch.log: no such file"},
		{"record nosuch.log --out x.pcapng", exitUsage, "nosuch.log: no such file"},
		{"intake --serial A --faults-from nosuch.log", exitUsage, "nosuch.log: no such file"},
		{"faults nosuch0 --previous", exitBus, "neither a file nor a CAN interface"},
		{"faults ok.log --clear", exitUsage, "name its CAN interface"},
		{"faults sim --yes", exitUsage, "without it codes are only shown"},
		{"faults sim --clear --json", exitUsage, "leave --json out"},
		{"faults sim --clear --address 300", exitUsage, "write 0 to 253"},
		{"request sim", exitUsage, "PGN is missing: holdfast request BUS PGN"},
		{"request sim abc", exitUsage, "write 0 to 262143"},
		{"request sim 65259 --to x", exitUsage, "(61, 0x3D)"},
		{"request nosuch0 65259", exitBus, "no such interface"},
		{"record", exitUsage, "INTERFACE is missing"},
		{"record nosuch0", exitUsage, "--out is missing"},
		{"record nosuch0 --out x.log", exitUsage, "ends in .pcapng"},
		{"record nosuch0 --out x.pcapng", exitBus, "no such interface"},
		{"record sim --out x.pcapng", exitUsage, "--bus unix:"},
		{"record ok.log --out x.pcapng", exitUsage, "name a CAN interface to record"},
		{"play", exitUsage, "FILE is missing"},
		{"play ok.log", exitUsage, "--bus is missing"},
		{"play nosuch.log --bus can9", exitUsage, "no such file"},
		{"play ok.log --bus nosuch0", exitBus, "no such interface"},
		{"play ok.log --bus sim", exitUsage, "--bus unix:"},
		{"play ok.log --bus nosuch0 --channel -5", exitUsage, "write 0 to 255"},
		{"decode", exitUsage, "FILE|INTERFACE is missing"},
		{"decode empty.log", exitUsage, "contains no CAN frames"},
		{"decode nosuch.log", exitUsage, "nosuch.log: no such file"},
		{"decode nosuch0", exitBus, "neither a file nor a CAN interface"},
		{"watch nosuch.pcap", exitUsage, "no such file"},
		{"watch nosuch0", exitBus, "neither a recording nor a CAN interface"},
		{"decode ok.log --dbc own.dbc", exitUsage, "own.dbc:1:1"},
		{"decode ok.log --parquet x --json", exitUsage, "leave --json and --summary out"},
		{"spn", exitUsage, "NUMBER|WORD is missing"},
		{"spn 999999", exitUsage, "numbers go up to 524287"},
		{"spn 5", exitUsage, "look in the unit maker's data"},
	} {
		status, out, errOut := holdfast(strings.Fields(c.line)...)
		require.Equal(t, c.status, status, "%s: %s%s", c.line, out, errOut)
		require.Contains(t, errOut, c.says, c.line)
		require.LessOrEqual(t, strings.Count(errOut, "\n"), 2, "%s says it in a line: %s", c.line, errOut)
	}
	names, err := os.ReadDir(".")
	require.NoError(t, err)
	require.Len(t, names, 5, "a wrong line leaves nothing behind")
}
