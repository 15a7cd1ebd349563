package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// tree is a git repository with one room and one recipe for a table about it.
func tree(t *testing.T) string {
	t.Helper()
	top := t.TempDir()
	write(t, top, "room/a.go", "package room\n")
	write(t, top, evidenceList, "# name, paths, command\nfigures\troom :!*_test.go\t"+
		`printf 'x_test.go:3: EVIDENCE\tshare right\t97 %%\tat least 95 %%\tyes\nseed %s\n' $HOLDFAST_SEED`+"\n")
	commit(t, top, "init", "-q")
	commit(t, top)
	return top
}

func write(t *testing.T, top, name, text string) {
	t.Helper()
	path := filepath.Join(top, name)
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
}

// commit commits all, or runs another git command.
func commit(t *testing.T, top string, args ...string) {
	t.Helper()
	commands := [][]string{args}
	if len(args) == 0 {
		commands = [][]string{{"add", "-A"}, {"-c", "user.name=a", "-c", "user.email=a@b", "commit", "-qm", "x"}}
	}
	for _, c := range commands {
		out, err := exec.Command("git", append([]string{"-C", top}, c...)...).CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
}

func checked(t *testing.T, top string) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, runEvidence(&out, top, nil))
	return out.String()
}

func TestEvidence(t *testing.T) {
	top := tree(t)
	require.Contains(t, checked(t, top), "figures: there is no table")
	var out bytes.Buffer
	require.NoError(t, runEvidence(&out, top, []string{"make", "figures"}))
	text, err := os.ReadFile(filepath.Join(top, evidenceDir, "figures.tsv"))
	require.NoError(t, err)
	require.Regexp(t, `(?s)^# made by: printf.*\n# speaks of: room :!\*_test.go\n# commit: [0-9a-f]{12}\n# contents: [0-9a-f]{16}\n`+
		`# seed: \d+\nfigure\tvalue\tbar\tmet\nshare right\t97 %\tat least 95 %\tyes\n$`, string(text))
	require.Equal(t, "1 tables of evidence, 0 doubts\n", checked(t, top))

	// A test is not what the table speaks of; the room is. A rebase (the same files in another commit) changes nothing.
	write(t, top, "room/a_test.go", "package room\n")
	commit(t, top)
	commit(t, top, "-c", "user.name=a", "-c", "user.email=a@b", "commit", "-q", "--amend", "-m", "y")
	require.Equal(t, "1 tables of evidence, 0 doubts\n", checked(t, top))
	write(t, top, "room/a.go", "package room // changed\n")
	require.ErrorContains(t, runEvidence(&out, top, []string{"make"}), "commit first")
	commit(t, top)
	require.Contains(t, checked(t, top), "what it speaks of (room :!*_test.go) has changed since")
	require.ErrorContains(t, runEvidence(&out, top, []string{"-strict"}), "make evidence")
}

// A bar that is missed and a command that fails stand in the table and are told of; a command that says nothing makes
// no table.
func TestEvidence_Missed(t *testing.T) {
	top := tree(t)
	write(t, top, evidenceList, "missed\troom\tprintf 'EVIDENCE\\tkilled\\t5\\tat least 9\\tno\\n'; exit 3\nsilent\troom\ttrue\n")
	commit(t, top)
	var out bytes.Buffer
	require.ErrorContains(t, runEvidence(&out, top, []string{"make"}), "silent: the command says no figure")
	require.Contains(t, checked(t, top), "missed: killed is 5, the bar is at least 9")
	require.Contains(t, checked(t, top), "missed: the command itself is exit status 3")
	require.ErrorContains(t, runEvidence(&out, top, []string{"make", "others"}), `names no table "others"`)
	write(t, top, evidenceList, "one\ttwo\n")
	require.ErrorContains(t, runEvidence(&out, top, nil), "list.tsv:1: need name, paths and command")
}

// Every table that stands in the tree can be read, and has a line that says how it is made.
func TestEvidence_Shipped(t *testing.T) {
	recipes, err := readList(filepath.Join("../..", evidenceList))
	require.NoError(t, err)
	named := map[string]bool{"list.tsv": true}
	for _, r := range recipes {
		named[r.name+".tsv"] = true
	}
	files, err := filepath.Glob(filepath.Join("../..", evidenceDir, "*.tsv"))
	require.NoError(t, err)
	for _, file := range files {
		require.True(t, named[filepath.Base(file)], "%s has no line in list.tsv", file)
		if filepath.Base(file) != "list.tsv" {
			_, err := readTable(file)
			require.NoError(t, err)
		}
	}
}
