package main

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"holdfast/bench/characteristic"
	"holdfast/bench/record"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/scenarios"
	"holdfast/scenarios/schema"
)

// compiled is a schema as an outside validator understands it.
func compiled(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader([]byte(must(t, exitDone, "schema", name))))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource(name, doc))
	s, err := c.Compile(name)
	require.NoError(t, err)
	return s
}

// fromYAML reads a YAML text as JSON has it.
func fromYAML(t *testing.T, text []byte) any {
	t.Helper()
	asJSON, err := yaml.YAMLToJSON(text)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(asJSON))
	require.NoError(t, err)
	return doc
}

var yamlBlocks = regexp.MustCompile("(?s)```yaml\n(.*?)```")

// Every shipped file and every whole example of the language's page is valid; what the readers refuse for
// its words or units is not.
func TestSchema_ScenariosAndRigs(t *testing.T) {
	files := map[string][][]byte{}
	for _, name := range scenarios.Names() {
		text, _, err := scenarios.Read(name)
		require.NoError(t, err)
		files["scenario"] = append(files["scenario"], text)
	}
	for _, name := range scenarios.RigNames() {
		text, _, err := scenarios.ReadRig(name)
		require.NoError(t, err)
		files["rig"] = append(files["rig"], text)
	}
	page, err := os.ReadFile("../../scenarios/README.md")
	require.NoError(t, err)
	for _, block := range yamlBlocks.FindAllSubmatch(page, -1) {
		kind := regexp.MustCompile(`^holdfast: (scenario|rig)/1`).FindSubmatch(block[1])
		require.NotNil(t, kind)
		files[string(kind[1])] = append(files[string(kind[1])], block[1])
	}
	for kind, texts := range files {
		s := compiled(t, kind)
		for _, text := range texts {
			require.NoError(t, s.Validate(fromYAML(t, text)), "%.200s", text)
		}
	}
	mistakes(t, files)
}

// mistakes changes one thing at a time in a good file; the schema must say no, as the reader does.
func mistakes(t *testing.T, files map[string][][]byte) {
	for _, m := range []struct{ kind, old, bad string }{
		{"scenario", "nominal: 9 bar", "nominal: 9"},
		{"scenario", "nominal: 9 bar", "nominal: 9 mL"},
		{"scenario", "decision_rule: guarded", "decision_rule: strict"},
		{"scenario", "decision_rule: guarded", "decision_rule: shared_risk"},
		{"scenario", "limits_from: shipped examples", "limits_from: hearsay"},
		{"scenario", "- hold: {at: 9 bar, for: 30 s, settle: 5 s}", "- hold: {at: 9 bar, during: 30 s}"},
		{"scenario", "- hold:", "- wait:"},
		{"scenario", "leak_rate: {max: 1.0 mL/min}", "leak_rate: {}"},
		{"scenario", "leak_rate:", "leak-rate:"}, // leek_rate could be a reading that is asked for
		{"scenario", "unattended: skip", "unattended: pass"},
		{"scenario", "as: crystals", "at: crystals"},
		{"rig", "fluid: DEF", "fluid: oil"},
		{"rig", "max_pressure: 12 bar", "max_pressure: 12"},
		{"rig", "cycle: 20 ms", "cycle: 20 bar"},
		{"rig", "our_address: 0xF9", "our_address: 300"},
		{"rig", "  supply_voltage:", "  supply_volts:"},
		{"rig", "unit: bare", "unit: naked"},
	} {
		s := compiled(t, m.kind)
		found := false
		for _, text := range files[m.kind] {
			if bad := bytes.Replace(text, []byte(m.old), []byte(m.bad), 1); !bytes.Equal(bad, text) {
				require.Error(t, s.Validate(fromYAML(t, bad)), m.bad)
				found = true
				break
			}
		}
		require.True(t, found, "%q is in no shipped file", m.old)
	}
}

// The words of the schemas are those of the readers.
func TestSchema_KnowsEveryWord(t *testing.T) {
	var doc struct {
		Properties struct {
			Limits   struct{ Properties map[string]any }
			Channels struct{ Properties map[string]any }
			Commands struct{ Properties map[string]any }
			Steps    struct {
				Items struct{ Properties map[string]any }
			}
		}
	}
	read := func(name string) {
		text, err := schema.Read(name)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(text, &doc))
	}
	read("scenario")
	var names []string
	for _, c := range characteristic.All {
		names = append(names, c.Name)
	}
	require.ElementsMatch(t, names, slices.Collect(maps.Keys(doc.Properties.Limits.Properties)))
	delete(doc.Properties.Steps.Items.Properties, "name")
	names = nil
	for k := scenario.Vent; k <= scenario.Ask; k++ {
		names = append(names, k.String())
	}
	require.Subset(t, slices.Collect(maps.Keys(doc.Properties.Steps.Items.Properties)), names)
	read("rig")
	names = nil
	for c := range rig.NumChannels {
		names = append(names, rig.Channel(c).String())
	}
	require.ElementsMatch(t, names, slices.Collect(maps.Keys(doc.Properties.Channels.Properties)))
	names = nil
	for c := range rig.NumCommands {
		if !rig.Command(c).Retired() {
			names = append(names, rig.Command(c).String())
		}
	}
	require.ElementsMatch(t, names, slices.Collect(maps.Keys(doc.Properties.Commands.Properties)))
}

// What runs leave behind is valid, however they end.
func TestSchema_Result(t *testing.T) {
	s, out := compiled(t, "result"), t.TempDir()
	ways := some([][]string{nil, {"--fault", "membrane-split=0.6"}, {"--fault", "sensor-supply-lost=1"}}, 3)
	for _, more := range ways {
		holdfast(append([]string{"run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "S",
			"--yes", "--out", out},
			more...)...) // whatever the verdict
	}
	results, err := filepath.Glob(filepath.Join(out, "*", record.ResultFile))
	require.NoError(t, err)
	require.Len(t, results, len(ways))
	for _, path := range results {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		require.NoError(t, err)
		require.NoError(t, s.Validate(doc), path)
		doc.(map[string]any)["verdict"] = "probably"
		require.Error(t, s.Validate(doc))
	}
}
