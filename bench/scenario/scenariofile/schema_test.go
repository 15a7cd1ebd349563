package scenariofile_test

import (
	"bytes"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/characteristic"
	"holdfast/j1939/unit"
)

// The JSON Schema of scenarios knows the limits of the registry, each with its words and its unit.
func TestSchema_Limits(t *testing.T) {
	const path = shipped + "schema/scenario.schema.json"
	const begin, end = "  \"limits\": {\n   \"type\": \"object\",\n   \"properties\": {\n", "\n   },\n   \"additionalProperties\""
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	head, rest, ok := strings.Cut(string(text), begin)
	require.True(t, ok)
	got, tail, ok := strings.Cut(rest, end)
	require.True(t, ok)
	want := schemaOfLimits(t)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(head+begin+want+end+tail), 0o644))
		return
	}
	require.Equal(t, want, got, "run go test ./bench/scenario/scenariofile -update")
}

// The parts of a limit's schema, with their keys in the order in which they read best.
type (
	limitSchema struct {
		Description string        `json:"description,omitempty"`
		Type        string        `json:"type"`
		Properties  limitKeys     `json:"properties"`
		Required    []string      `json:"required"`
		Additional  bool          `json:"additionalProperties"`
		AnyOf       []requiredKey `json:"anyOf"`
	}
	limitKeys struct {
		Min   any `json:"min"`
		Max   any `json:"max"`
		Where any `json:"applies_to"`
		At    any `json:"at,omitempty"`
	}
	requiredKey struct {
		Required []string `json:"required"`
	}
	oneOf struct {
		Description string `json:"description,omitempty"`
		OneOf       []any  `json:"oneOf"`
	}
	list struct {
		Type  string `json:"type"`
		Items any    `json:"items"`
		Least int    `json:"minItems"`
	}
	pattern struct {
		Type    string `json:"type"`
		Pattern string `json:"pattern"`
	}
	words struct {
		Enum []string `json:"enum"`
	}
	reference struct {
		Ref string `json:"$ref"`
	}
)

func schemaOfLimits(t *testing.T) string {
	var entries []string
	for _, c := range characteristic.All {
		var text bytes.Buffer
		enc := json.NewEncoder(&text)
		enc.SetEscapeHTML(false)
		enc.SetIndent("    ", " ")
		require.NoError(t, enc.Encode(schemaOfLimit(t, c)))
		entries = append(entries, "    \""+c.Name+"\": "+strings.TrimSpace(text.String()))
	}
	return strings.Join(entries, ",\n")
}

func schemaOfLimit(t *testing.T, c characteristic.Characteristic) any {
	var value any = pattern{"string", `^\s*[0-9]+\s*codes?\s*$`}
	if c.Unit != "" {
		value = quantity(t, c.Unit)
	}
	limit := limitSchema{Type: "object", Required: []string{}, AnyOf: []requiredKey{{[]string{"min"}}, {[]string{"max"}}},
		Properties: limitKeys{Min: value, Max: value, Where: words{[]string{"controller", "all"}}}}
	if !c.SetPoints {
		limit.Description = c.Text
		return limit
	}
	duty := quantity(t, "%")
	limit.Properties.At = oneOf{OneOf: []any{duty, list{"array", duty, 1}}}
	return oneOf{c.Text, []any{limit, list{"array", limit, 1}}}
}

// quantity refers to the schema of a quantity: "mass rate" is $defs/MassRate.
func quantity(t *testing.T, symbol string) reference {
	d, ok := unit.Of(symbol)
	require.True(t, ok, symbol)
	name := ""
	for _, w := range strings.Fields(d.String()) {
		name += strings.ToUpper(w[:1]) + w[1:]
	}
	return reference{"#/$defs/" + name}
}
