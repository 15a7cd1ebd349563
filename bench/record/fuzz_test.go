package record

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdfast/bench/judge"
)

// Whatever stands in a run's folder as a result: an entry for the index or an error.
func FuzzResult(f *testing.F) {
	f.Add(`{"schema":"` + judge.Schema + `","run":"r","serial":"A","verdict":"pass","characteristics":[{"name":"x","value":1}]}`)
	f.Add(`{"schema":"","characteristics":null}`)
	f.Fuzz(func(t *testing.T, text string) { _, _ = decodeResult(strings.NewReader(text), "folder") })
}

// Whatever stands there as a later judgement or as the shop's priors: read, or an error.
func FuzzJudgementAndPriors(f *testing.F) {
	f.Add([]byte(`{"judgement":2,"by":"Kim","result":{"verdict":"pass"}}`))
	f.Add([]byte(`{"adopted":"2026-03-04T12:00:00Z","by":"Kim","priors":{"membrane-split":0.5,"x":-1e308}}`))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, name := range []string{"judgement-2.json", PriorsFile} {
			if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		folder := Folder{Run: "r", Path: dir}
		all, err := Judgements(folder)
		if err == nil && len(all) != 1 {
			t.Errorf("%d judgements", len(all))
		}
		res := &judge.Result{}
		if weigh(folder, res) == nil {
			if _, err := json.Marshal(res); err != nil {
				t.Errorf("priors gave a result that cannot be written: %v", err)
			}
		}
	})
}
