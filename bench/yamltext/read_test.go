package yamltext_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/yamltext"
)

func FuzzRead(f *testing.F) {
	f.Add([]byte("a: 9 bar # x\nb: {at: [20 %, 50 %], min: -5 %}\nc:\n  - hold: {at: 9 bar}\n    name: \"x y\"\n"))
	f.Add([]byte("a: &x 1\nb: *x\n<<: {}\n? a\n: b\n--- \n!!str a"))
	f.Add([]byte("- - - - - [[[{{{"))
	f.Fuzz(func(t *testing.T, text []byte) {
		began := time.Now()
		r, root := yamltext.Read("x.yaml", text)
		if took := time.Since(began); took > 2*time.Second {
			t.Errorf("%d bytes took %s", len(text), took)
		}
		require.False(t, root == nil && r.OK(), "nothing read and nothing said")
		for _, p := range r.Problems() {
			require.True(t, strings.HasPrefix(p.Error(), "x.yaml"))
		}
	})
}

func read(t *testing.T, text string) (*yamltext.Node, string) {
	t.Helper()
	r, root := yamltext.Read("x.yaml", []byte(text))
	return root, r.Problems().Error()
}

func TestRead_Refuses(t *testing.T) {
	for text, want := range map[string]string{
		"":                         "x.yaml: 0 documents in the file; write exactly one",
		"# only a comment\n":       "x.yaml: 0 documents in the file",
		"a: 1\n---\nb: 2\n":        "x.yaml: 2 documents in the file",
		"- a\n":                    "x.yaml:1:1: the file starts with a list",
		"a":                        "x.yaml:1:1: the file starts with text",
		"a: [1\n":                  "x.yaml:1:4: this [ has no ]; close it: [first, second]",
		"a: 1\na: 2\n":             "x.yaml:2:1: a for the second time; the first stands on line 1; keep one",
		"a: &x 1\nb: *x\n":         "x.yaml:1:4: a YAML anchor; write keys, lists and plain text only\nx.yaml:2:4: a YAML alias",
		"a: !!str 1\n":             "x.yaml:1:4: a YAML tag",
		"<<: {a: 1}\n":             `x.yaml:1:1: "<<" as a key; a key is a plain word`,
		"? a\n: b\n":               `x.yaml:1:1: "?" as a key`,
		"1: b\n":                   `x.yaml:1:1: key "1"; a key is a word`,
		"a:\tb\n":                  `x.yaml:1:3: character '\t'; write plain text (UTF-8), indent with spaces`,
		"a: b\x00\n":               `x.yaml:1:5: character '\x00'`,
		"a: b\n\nc: \x1b[31m\n":    `x.yaml:3:4: character '\x1b'`,
		"a: \xff\n":                "x.yaml:1:4: character",
		"a: b\u202ec\n":            `x.yaml:1:5: character '\u202e'`,
		"a: " + deep("[", "]", 13): "nested too deeply; a file has at most 12 levels",
		strings.Repeat("[", 500):   "x.yaml:1:1: brackets nested too deeply; close them",
		"a: " + strings.Repeat("x", yamltext.MaxLine): "x.yaml:1:1000: a line of 1003 bytes; a line has at most 1000",
		strings.Repeat("a\n", yamltext.MaxLines+1):    "x.yaml: 10001 lines; a file has at most 10000",
		strings.Repeat("#", yamltext.MaxSize+1):       "x.yaml: 1048577 bytes; a file has at most 1048576",
	} {
		_, got := read(t, text)
		require.Contains(t, got, want, "%.60q", text)
	}
}

func deep(open, shut string, n int) string {
	return strings.Repeat(open, n) + strings.Repeat(shut, n)
}

// Text stays text: YAML's guesses at meaning (numbers, booleans, null) are not ours.
func TestRead_KeepsText(t *testing.T) {
	root, problems := read(t, "a: 0x10\nb: yes\nc: 1_000\nd: null\ne: ~\nf: .nan\ng: 1e3\nh: 2026-09-01\ni: \"9 bar\"\nj: 'it''s'\nk: true\nl: |\n  two\n  lines\nm: -5 %\n")
	require.Empty(t, problems)
	got := map[string]string{}
	for _, e := range root.Entries {
		require.Equal(t, yamltext.Text, e.Value.Kind, e.Key)
		got[e.Key] = e.Value.Text
	}
	require.Equal(t, map[string]string{"a": "0x10", "b": "yes", "c": "1_000", "d": "null", "e": "~", "f": ".nan", "g": "1e3",
		"h": "2026-09-01", "i": "9 bar", "j": "it's", "k": "true", "l": "two\nlines", "m": "-5 %"}, got)
}

func TestRead_Places(t *testing.T) {
	root, problems := read(t, "# first line\na: 9 bar # note\nsteps:\n  - hold: {at: 9 bar,\n      for: 30 s}\n    name: x\nempty:\n")
	require.Empty(t, problems)
	require.Equal(t, [2]int{2, 4}, place(root.Entry("a").Value))
	hold := root.Entry("steps").Value.Items[0].Entry("hold")
	require.Equal(t, [2]int{4, 5}, [2]int{hold.Line, hold.Column})
	require.Equal(t, [2]int{4, 16}, place(hold.Value.Entry("at").Value))
	require.Equal(t, [2]int{5, 12}, place(hold.Value.Entry("for").Value))
	require.Equal(t, yamltext.Empty, root.Entry("empty").Value.Kind)
	require.Equal(t, [2]int{7, 1}, place(root.Entry("empty").Value))
	require.Nil(t, root.Entry("missing"))
}

func place(n *yamltext.Node) [2]int { return [2]int{n.Line, n.Column} }

func TestNear(t *testing.T) {
	known := []string{"leak_rate", "leak-down", "ripple", "prime_time", "hold"}
	for word, want := range map[string]string{"leakrate": "leak_rate", "leak_down": "leak-down", "riple": "ripple",
		"Prime-Time": "prime_time", "hodl": "hold", "colour": "", "": "", strings.Repeat("x", 100): ""} {
		require.Equal(t, want, yamltext.Near(word, known), word)
	}
}

func TestProblems_AreBounded(t *testing.T) {
	_, root := yamltext.Read("x.yaml", []byte("a: b"))
	r, _ := yamltext.Read("x.yaml", []byte("a: b"))
	for i := range 3 * yamltext.MaxProblems {
		r.AddAt(i+1, 1, "wrong", "")
		r.AddAt(i+1, 1, "wrong", "")
	}
	require.NotNil(t, root)
	require.Len(t, r.Problems(), yamltext.MaxProblems+1)
	require.ErrorContains(t, r.Problems(), "x.yaml: and 200 more problems")
	require.NoError(t, yamltext.Problems{}.Err())
}
