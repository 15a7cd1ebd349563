package record

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
)

// PriorsFile holds, in the folder of a run, the shop's own priors that it is judged with. A folder
// without one is judged with the program's.
const PriorsFile = "priors.json"

// Adopted is what a person adopted as this shop's frequencies of causes.
type Adopted struct {
	Time   time.Time          `json:"adopted"`
	By     string             `json:"by"`
	Priors map[string]float64 `json:"priors"`
}

// AdoptPriors states how common each cause is in this shop; no priors go back to the program's own.
func (s *Store) AdoptPriors(ctx context.Context, a Adopted) error {
	n := Note{Kind: NotePriors, Time: a.Time, By: a.By, Priors: a.Priors}
	return s.write(ctx, &n, always)
}

// Priors returns what the shop adopted; nil: the program's own.
func (s *Store) Priors(ctx context.Context) (*Adopted, error) {
	var text string
	if err := s.db.QueryRowContext(ctx, `SELECT priors FROM shop`).Scan(&text); err != nil || text == "" {
		return nil, err
	}
	a := new(Adopted)
	return a, json.Unmarshal([]byte(text), a)
}

// KeepPriors puts the shop's priors into the folder of a new run, so that it is judged with them on any
// later day.
func (s *Store) KeepPriors(ctx context.Context, f Folder) error {
	a, err := s.Priors(ctx)
	if err != nil || a == nil {
		return err
	}
	return f.Write(PriorsFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(a) })
}

// weigh applies the priors kept in a run's folder and says so in the result.
func weigh(f Folder, res *judge.Result) error {
	text, err := os.ReadFile(filepath.Join(f.Path, PriorsFile))
	if os.IsNotExist(err) {
		return nil
	}
	var a Adopted
	if err == nil {
		err = json.Unmarshal(text, &a)
	}
	if err != nil {
		return fmt.Errorf("read %s: %w", PriorsFile, err)
	}
	res.Causes = cause.Reweigh(res.Causes, a.Priors)
	res.Warnings = append(res.Warnings, fmt.Sprintf("the causes are weighed by this shop's own frequencies "+
		"(adopted on %s by %s)", a.Time.Format(time.DateOnly), a.By))
	return nil
}
