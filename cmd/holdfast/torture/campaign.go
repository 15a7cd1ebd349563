package torture

import (
	"context"
	"slices"
	"sync"
	"time"
)

// Options of a campaign.
type Options struct {
	From  uint64 // first seed
	Seeds int
	Jobs  int                          // how many run at once; 0: one
	Done  func(Report, Tally)          // called after each seed, one at a time; may be nil
	Run   func(uint64) (Report, error) // RunTwice of a Bench
}

// Tally counts what became of the seeds so far.
type Tally struct {
	Seeds    int            `json:"seeds"`
	Ends     map[string]int `json:"ends"`
	Trips    map[string]int `json:"trips"`
	Verdicts map[string]int `json:"verdicts"`
	Troubles map[string]int `json:"troubles"`
	Rigs     map[string]int `json:"rigs"`
	Faults   map[string]int `json:"unit_faults"`
	Lies     map[string]int `json:"lies"`
	Broken   []Story        `json:"broken"` // the seeds for which a checker did not hold, in order
	Run      time.Duration  `json:"-"`      // simulated, of all runs together
	Answers  int            `json:"over_pressures_answered"`
	Worst    time.Duration  `json:"-"`      // of these answers
	Digest   uint64         `json:"digest"` // of all seeds together
}

// Story is one seed that broke a checker.
type Story struct {
	Seed   uint64   `json:"seed"`
	Broken []string `json:"broken"`
	Drawn  []string `json:"drawn"`
}

func newTally() Tally {
	return Tally{Ends: map[string]int{}, Trips: map[string]int{}, Verdicts: map[string]int{},
		Troubles: map[string]int{}, Rigs: map[string]int{}, Faults: map[string]int{}, Lies: map[string]int{}, Broken: []Story{}}
}

// add counts one seed. The order of seeds makes no difference.
func (t *Tally) add(r Report) {
	t.Seeds++
	t.Ends[r.Ended]++
	t.Verdicts[r.Verdict]++
	if r.Trip != "" {
		t.Trips[r.Trip]++
	}
	for _, k := range r.Kinds {
		t.Troubles[k]++
	}
	t.Rigs[r.Rig]++
	for _, name := range r.Faults {
		t.Faults[name]++
	}
	for _, name := range r.Lies {
		t.Lies[name]++
	}
	if r.Answered {
		t.Answers++
		t.Worst = max(t.Worst, r.Answer)
	}
	t.Run += r.Length
	t.Digest ^= r.Digest * (2*r.Seed + 1)
	if len(r.Broken) > 0 {
		t.Broken = append(t.Broken, Story{r.Seed, r.Broken, r.Story})
		slices.SortFunc(t.Broken, func(a, b Story) int { return int(int64(a.Seed - b.Seed)) })
	}
}

// Campaign runs the seeds. Cancelling ctx ends it after the seeds that are running. The error is that of the
// first seed that could not be run; the tally holds what was run.
func Campaign(ctx context.Context, o Options) (Tally, error) {
	c := campaign{Options: o, tally: newTally()}
	seeds := make(chan uint64)
	var workers sync.WaitGroup
	for range max(o.Jobs, 1) {
		workers.Go(func() {
			for seed := range seeds {
				c.one(seed)
			}
		})
	}
	for i := 0; i < o.Seeds && ctx.Err() == nil && !c.stopped(); i++ {
		seeds <- o.From + uint64(i)
	}
	close(seeds)
	workers.Wait()
	return c.tally, c.err
}

type campaign struct {
	Options
	mu    sync.Mutex
	tally Tally
	err   error
}

func (c *campaign) stopped() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.err != nil
}

func (c *campaign) one(seed uint64) {
	r, err := c.Run(seed)
	c.mu.Lock()
	defer c.mu.Unlock()
	if err != nil {
		if c.err == nil {
			c.err = err
		}
		return
	}
	c.tally.add(r)
	if c.Done != nil {
		c.Done(r, c.tally)
	}
}
