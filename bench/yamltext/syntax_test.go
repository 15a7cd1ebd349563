package yamltext_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What the library says of broken syntax is told in plain words, at its place and with what would do.
func TestRead_SyntaxInPlainWords(t *testing.T) {
	for text, want := range map[string]string{
		"a: {b: 1\n":            "x.yaml:1:4: this { has no }; close it: {key: value, key: value}",
		"a: ]\n":                "x.yaml:1:4: this ] has no [ before it; write",
		"a: {b: [1}\n":          "x.yaml:1:10: a comma or a ] is missing before this; write [first, second]",
		"a: [,1]\n":             "x.yaml:1:5: a comma with nothing before it",
		"a: [1, , 2]\n":         "x.yaml:1:8: a value is missing before this",
		"a: 'x\n":               "x.yaml:1:4: this ' is not closed; end the text with another '",
		"a: \"x\n":              `x.yaml:1:4: this " is not closed; end the text with another "`,
		"a: \"\\q\"\n":          `x.yaml:1:6: a \ before this character means nothing`,
		"a: @x\n":               `x.yaml:1:4: plain text cannot begin with this character; put the text in "..."`,
		"a: %x\n":               "x.yaml:1:4: a YAML directive (%); leave it out",
		"%YAML 9\n---\na: 1\n":  "x.yaml:1:7: a YAML directive (%)",
		"a: 1\nb\nc: 2\n":       "x.yaml:2:1: this is not a key with its value; write key: value",
		"a\nb: 1\n":             "x.yaml:1:1: this is not a key with its value",
		"a: b: c\n":             "x.yaml:1:4: a colon inside this value; write one key: value a line",
		"a: 1\n  b: 2\n":        "x.yaml:1:4: a colon inside this value",
		"a: - x\n":              "x.yaml:1:4: a list cannot begin behind a key on the same line",
		"a:\n  b: 1\n c: 2\n":   "x.yaml:3:2: this does not belong here; indent all keys of one map",
		"{a: 1}}\n":             "x.yaml:1:7: this does not belong here; ",
		"a: \"x\" y\n":          "x.yaml:1:8: this does not belong here; ",
		"a: *\n":                "x.yaml:1:4: a YAML alias",
		"a: &\n":                "x.yaml:1:4: a YAML anchor",
		"a: >x\n":               "x.yaml:1:4: only text can follow | or >",
		"--- a: 1\n":            "x.yaml:1:5: text behind --- or ...; leave",
		"a: 1\n... x\n":         "x.yaml:2:5: text behind --- or ...",
		"a: {: 1}\n":            "x.yaml:1:5: this cannot be a key; write key: value",
		"a:\n  - b: 1\n   c: 2": "x.yaml:3:4: this does not belong here",
	} {
		root, got := read(t, text)
		require.Nil(t, root)
		require.Contains(t, got, want, "%q", text)
		require.NotRegexp(t, "token|scalar|mapping|sequence|context|flow", got, "%q", text)
	}
}
