package shop

import (
	"context"
	"errors"
	"math"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/history"
	"holdfast/bench/record"
)

// modelWeight is how many findings the program's own priors count for when a shop learns its own: with
// fewer findings than this the program's still weigh more. A choice of ours, no source.
const modelWeight = 20

// leastProbability stands for the probability of a cause that was not named at all, in the mean log score.
const leastProbability = 1e-6

// Scores holds the causes that were named against what was found.
type Scores struct {
	Findings   int             `json:"findings"`
	Scored     int             `json:"scored"` // with a run before them
	First      int             `json:"named_first"`
	FirstTwo   int             `json:"named_in_first_two"`
	FirstLow   float64         `json:"named_first_low"` // 95 % interval
	FirstHigh  float64         `json:"named_first_high"`
	LogScore   *float64        `json:"mean_log_score"` // mean of ln(probability given to what was found); null: none
	Causes     []CauseScore    `json:"causes"`
	Scores     []record.Score  `json:"scores"`
	InForce    *record.Adopted `json:"adopted"` // null: the program's own
	priorsUsed map[string]float64
}

// CauseScore is one cause: how often it was found and named first, and its priors.
type CauseScore struct {
	Name    string  `json:"name"`
	Found   int     `json:"found"`
	First   int     `json:"named_first_when_found"`
	Program float64 `json:"prior_program"`
	Shop    float64 `json:"prior_learnt"`
	Used    float64 `json:"prior_in_force"`
}

// Score scores the findings on record; simulated runs count only when asked for.
func Score(ctx context.Context, s *record.Store, simulated bool) (*Scores, error) {
	counts, err := s.FoundCounts(ctx)
	if err != nil {
		return nil, err
	}
	scores, err := s.Scores(ctx, simulated)
	if err != nil {
		return nil, err
	}
	adopted, err := s.Priors(ctx)
	if err != nil {
		return nil, err
	}
	card := &Scores{Scored: len(scores), Scores: scores, InForce: adopted, priorsUsed: cause.Priors()}
	if adopted != nil {
		card.priorsUsed = adopted.Priors
	}
	card.count(counts)
	return card, nil
}

func (c *Scores) count(counts map[string]int) {
	first := map[string]int{}
	sum := 0.0
	for _, s := range c.Scores {
		if s.Named == s.Found {
			c.First++
			first[s.Found]++
		}
		if s.Named == s.Found || s.Second == s.Found {
			c.FirstTwo++
		}
		sum += math.Log(max(s.P, leastProbability))
	}
	if len(c.Scores) > 0 {
		mean := sum / float64(len(c.Scores))
		c.LogScore = &mean
	}
	_, c.FirstLow, c.FirstHigh = history.Rate(c.First, c.Scored)
	program, learnt := cause.Priors(), cause.Learn(counts, modelWeight)
	for _, name := range append(cause.Names(), OtherCause) {
		c.Findings += counts[name]
		c.Causes = append(c.Causes, CauseScore{name, counts[name], first[name], program[name], learnt[name],
			c.priorsUsed[name]})
	}
}

// AdoptPriors makes the shop's own frequencies the starting point for naming causes in later runs.
func AdoptPriors(ctx context.Context, s *record.Store, by string, now time.Time) error {
	counts, err := s.FoundCounts(ctx)
	if err != nil {
		return err
	}
	if len(counts) == 0 {
		return errors.New("nothing to adopt: no finding is on record; holdfast found records one")
	}
	return s.AdoptPriors(ctx, record.Adopted{Time: now, By: by, Priors: cause.Learn(counts, modelWeight)})
}

// ResetPriors goes back to the program's own priors.
func ResetPriors(ctx context.Context, s *record.Store, by string, now time.Time) error {
	return s.AdoptPriors(ctx, record.Adopted{Time: now, By: by})
}
