package campaign

import (
	"context"
	"sync"
)

// Run tests every unit of a campaign and sums up. The result depends on the configuration alone,
// Jobs and Progress apart. A cancelled context ends it with the context's error.
func Run(ctx context.Context, c Config) (*Summary, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	b := &batch{Config: &c, units: make([]Unit, c.Units*c.times()), stop: stop}
	var jobs sync.WaitGroup
	for range min(c.Jobs, len(b.units)) {
		jobs.Go(func() { b.work(ctx) })
	}
	jobs.Wait()
	if b.err != nil {
		return nil, b.err
	}
	return summarise(&c, b.units), nil
}

// batch is a campaign being worked on.
type batch struct {
	*Config
	stop context.CancelFunc

	mu    sync.Mutex
	units []Unit // each at its number
	next  int
	done  int
	err   error
}

// work tests one unit after the other until there is none left.
func (b *batch) work(ctx context.Context) {
	var ch chronicle
	for {
		i, ok := b.take(ctx)
		if !ok {
			return
		}
		u, _, err := b.perform(ctx, b.test(i), &ch)
		if ctx.Err() != nil {
			err = ctx.Err() // a run that was broken off says nothing of its unit
		}
		b.finish(i, u, err)
	}
}

func (b *batch) take(ctx context.Context) (int, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.err == nil && ctx.Err() != nil {
		b.err = ctx.Err()
	}
	if b.err != nil || b.next == len(b.units) {
		return 0, false
	}
	b.next++
	return b.next - 1, true
}

func (b *batch) finish(i int, u Unit, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err != nil {
		if b.err == nil {
			b.err = err
			b.stop()
		}
		return
	}
	b.units[i] = u
	b.done++
	if b.Progress != nil {
		b.Progress(b.done, len(b.units))
	}
}
