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

// Every kind of step stands in the page once, with all its keys, as the reader understands it.
func TestLanguagePage_Steps(t *testing.T) {
	rows := regexp.MustCompile("(?m)^\\| `([a-z-]+): (\\{.*?\\})` \\|").FindAllStringSubmatch(languagePage(t), -1)
	require.Len(t, rows, len(scenario.Kinds()))
	for i, row := range rows {
		k := scenario.Kind(i)
		require.Equal(t, k.String(), row[1])
		require.Equal(t, normal(control.Example(k)), normal(row[2]))
	}
}

// normal leaves out how long a step lasts in an example: it is not the same in every one.
func normal(s string) string {
	return regexp.MustCompile(`for: \d+ s`).ReplaceAllString(s, "for: some s")
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
	const begin, end = "-update -->\n", "<!-- end of characteristics -->"
	page := languagePage(t)
	head, rest, ok := strings.Cut(page, begin)
	require.True(t, ok)
	got, tail, ok := strings.Cut(rest, end)
	require.True(t, ok)
	want := characteristicsTable()
	if *update {
		require.NoError(t, os.WriteFile(shipped+"README.md", []byte(head+begin+want+end+tail), 0o644))
		return
	}
	require.Equal(t, want, got, "run go test ./bench/scenario/scenariofile -update")
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
