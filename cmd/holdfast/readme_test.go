package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// readmeCommands returns the command lines of README.md's fenced blocks with the given info
// string: "sh" for those that need nothing but this computer, "sh lab" for those that need a CAN interface.
func readmeCommands(t *testing.T, info string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(repoRoot, "README.md"))
	require.NoError(t, err)
	var commands []string
	for _, block := range regexp.MustCompile("(?s)```"+info+"\n(.*?)```").FindAllStringSubmatch(string(text), -1) {
		for line := range strings.Lines(block[1]) {
			if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
				commands = append(commands, line)
			}
		}
	}
	return commands
}

// holdfastArgs returns the arguments of a line that starts holdfast, in either of its two ways.
func holdfastArgs(line string) ([]string, bool) {
	line, _, _ = strings.Cut(line, " #")
	for _, start := range []string{"holdfast ", "go run ./cmd/holdfast "} {
		if rest, ok := strings.CutPrefix(line, start); ok {
			var args []string
			for _, word := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(rest, -1) {
				args = append(args, strings.Trim(word, `"`))
			}
			return args, true
		}
	}
	return nil, false
}

// TestReadmeCommands runs every command of the README that needs no CAN interface, in order, with
// the user's data folder in a scratch place. A make target must exist and be one that the gate runs.
func TestReadmeCommands(t *testing.T) {
	long(t)
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	commands := readmeCommands(t, "sh")
	require.GreaterOrEqual(t, len(commands), 5)
	makefile, err := os.ReadFile(filepath.Join(repoRoot, "Makefile"))
	require.NoError(t, err)
	gate, err := os.ReadFile(filepath.Join(repoRoot, ".ci", "run"))
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	for _, line := range commands {
		t.Run(line, func(t *testing.T) {
			if args, ok := holdfastArgs(line); ok {
				must(t, wantedStatus(line), args...)
				return
			}
			target, ok := strings.CutPrefix(line, "make ")
			require.True(t, ok, "the README has a command that this test does not know how to run")
			target = strings.Fields(target)[0]
			require.Regexp(t, `(?m)^`+target+`:`, string(makefile))
			if !strings.Contains(string(gate), "make "+target) {
				// quick is a part of test.
				require.Contains(t, []string{"build", "fuzz", "quick"}, target, "a README target that the gate does not run")
			}
		})
	}
}

// wantedStatus reads what a README line says of its own exit status: "# exit status 1"; 0 otherwise.
func wantedStatus(line string) int {
	if m := regexp.MustCompile(`# exit status (\d)`).FindStringSubmatch(line); m != nil {
		return int(m[1][0] - '0')
	}
	return exitDone
}
