package scenariofile_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/characteristic"
	"holdfast/bench/control"
	"holdfast/bench/scenario"
	"holdfast/j1939/unit"
)

const schemaPath = shipped + "schema/scenario.schema.json"

// The JSON Schema of scenarios knows the limits of the registry, each with its words and its unit.
func TestSchema_Limits(t *testing.T) {
	const begin, end = "  \"limits\": {\n   \"type\": \"object\",\n   \"properties\": {\n", "\n   },\n   \"additionalProperties\""
	between(t, schemaPath, begin, end, schemaOfLimits(t))
}

// The JSON Schema of scenarios knows the steps of control, each with its keys. That of ask stands by itself: its keys
// depend on each other.
func TestSchema_Steps(t *testing.T) {
	var steps, one []string
	for _, k := range scenario.Kinds() {
		if k != scenario.Ask {
			steps = append(steps, fmt.Sprintf("     %q: %s,\n", k, indented(t, "     ", schemaOfStep(t, k))))
		}
		one = append(one, "     "+indented(t, "     ", requiredKey{[]string{k.String()}}))
	}
	between(t, schemaPath, "     \"name\": {\n      \"type\": \"string\"\n     },\n", "     \"ask\": {",
		strings.Join(steps, ""))
	between(t, schemaPath, "    \"additionalProperties\": false,\n    \"oneOf\": [\n",
		"\n    ]\n   },\n   \"minItems\"", strings.Join(one, ",\n"))
}

type stepSchema struct {
	Type        string   `json:"type"`
	Properties  any      `json:"properties"`
	Required    []string `json:"required"`
	Additional  bool     `json:"additionalProperties"`
	Description string   `json:"description"`
}

func schemaOfStep(t *testing.T, k scenario.Kind) stepSchema {
	symbols := map[control.Field]string{control.Drive: "%", control.Duty: "%", control.Band: "%", control.Pressure: "bar"}
	var keys []string
	s := stepSchema{Type: "object", Description: strings.ReplaceAll(control.Does(k), "`", "")}
	for _, key := range control.Keys(k) {
		symbol, ok := symbols[key.Field]
		if !ok {
			symbol = "s"
		}
		keys = append(keys, fmt.Sprintf(`%q: {"$ref": %q}`, key.Word, quantity(t, symbol).Ref))
		if !key.Optional {
			s.Required = append(s.Required, key.Word)
		}
	}
	s.Properties = json.RawMessage("{" + strings.Join(keys, ", ") + "}")
	return s
}

// indented is JSON as the schema has it.
func indented(t *testing.T, prefix string, v any) string {
	var text bytes.Buffer
	enc := json.NewEncoder(&text)
	enc.SetEscapeHTML(false)
	enc.SetIndent(prefix, " ")
	require.NoError(t, enc.Encode(v))
	return strings.TrimSpace(text.String())
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
		entries = append(entries, "    \""+c.Name+"\": "+indented(t, "    ", schemaOfLimit(t, c)))
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
