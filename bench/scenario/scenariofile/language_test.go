package scenariofile_test

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/characteristic"
	"holdfast/bench/control"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
)

var update = flag.Bool("update", false, "write the table of characteristics into scenarios/README.md")

func languagePage(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile(shipped + "README.md")
	require.NoError(t, err)
	return string(text)
}

func blocks(t *testing.T, info string) []string {
	t.Helper()
	var out []string
	for _, m := range regexp.MustCompile("(?s)```"+info+"\n(.*?)```").FindAllStringSubmatch(languagePage(t), -1) {
		out = append(out, m[1])
	}
	require.NotEmpty(t, out)
	return out
}

func noDBC(string) ([]byte, error) { return nil, errors.New("there is none") }

// Every whole file in the page is one that holdfast reads.
func TestLanguagePage_Files(t *testing.T) {
	kinds := map[string]int{}
	for _, text := range blocks(t, "yaml") {
		kind, _, _ := strings.Cut(text, "\n")
		kinds[kind]++
		var err error
		switch kind {
		case "holdfast: scenario/1":
			_, err = scenariofile.Parse("README.md", []byte(text))
		case "holdfast: rig/1":
			_, err = rigfile.Parse("README.md", []byte(text), noDBC)
		default:
			t.Errorf("a block that starts with %q", kind)
		}
		require.NoError(t, err)
	}
	require.Len(t, kinds, 2)
}

// The table of steps is that of control, in which every kind says what it does.
func TestLanguagePage_Steps(t *testing.T) {
	var want strings.Builder
	for _, k := range scenario.Kinds() {
		fmt.Fprintf(&want, "| `%s: %s` | %s |\n", k, control.Example(k), control.Does(k))
	}
	between(t, shipped+"README.md", "| step | what the bench does |\n| --- | --- |\n", "\nA step that waits", want.String())
}

// between holds what stands in a file between two texts against what is wanted there, or writes it.
func between(t *testing.T, path, begin, end, want string) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	head, rest, ok := strings.Cut(string(text), begin)
	require.True(t, ok)
	got, tail, ok := strings.Cut(rest, end)
	require.True(t, ok)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(head+begin+want+end+tail), 0o644))
		return
	}
	require.Equal(t, want, got, "run go test ./bench/scenario/scenariofile -update")
}

func TestLanguagePage_Limits(t *testing.T) {
	text := shippedText(t)
	before, _, ok := strings.Cut(text, "\nlimits:\n")
	require.True(t, ok)
	for _, block := range blocks(t, "yaml limits") {
		indented := "  " + strings.ReplaceAll(strings.TrimSpace(block), "\n", "\n  ")
		_, err := scenariofile.Parse("README.md", []byte(before+"\nlimits:\n"+indented+"\n"))
		require.NoError(t, err, block)
	}
}

// The page's questions and the file that answers them are what holdfast reads.
func TestLanguagePage_Questions(t *testing.T) {
	text := shippedText(t)
	const after = "  - hold: {at: 9 bar, for: 30 s, settle: 5 s}\n"
	before, rest, ok := strings.Cut(text, after)
	require.True(t, ok)
	asks := "  " + strings.ReplaceAll(strings.TrimSpace(blocks(t, "yaml steps")[0]), "\n", "\n  ") + "\n"
	p, err := scenariofile.Parse("README.md", []byte(before+after+asks+rest))
	require.NoError(t, err)
	require.Len(t, p.Questions(), 3)
	answers, err := scenariofile.ReadAnswers("README.md", []byte(blocks(t, "yaml answers")[0]), p)
	require.NoError(t, err)
	require.Len(t, answers, 3)
}

// The table of characteristics is the one that limits are checked against.
func TestLanguagePage_Characteristics(t *testing.T) {
	between(t, shipped+"README.md", "-update -->\n", "<!-- end of characteristics -->", characteristicsTable())
}

func characteristicsTable() string {
	var b strings.Builder
	b.WriteString("\n| characteristic | unit | what it is | needs the steps | needs the channels |\n| --- | --- | --- | --- | --- |\n")
	for _, c := range characteristic.All {
		var steps, channels []string
		for _, k := range c.Steps {
			steps = append(steps, k.String())
		}
		for _, ch := range c.Channels {
			channels = append(channels, ch.String())
		}
		symbol := c.Unit
		if symbol == "" {
			symbol = "codes"
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", c.Name, symbol, c.Text, strings.Join(steps, ", "), strings.Join(channels, ", "))
	}
	b.WriteString("\n")
	return b.String()
}
