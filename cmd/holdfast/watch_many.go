package main

import (
	"bytes"
	"context"
	"io"
	"runtime"

	"holdfast/bench/watch"
)

// watchRecordings reads recordings, as many at a time as there are processors, and hands what was found to
// show in the order they were named. The first that cannot be read, in that order, is the error; what came
// before it has been shown. With one recording tell hears its events.
func watchRecordings(ctx context.Context, paths []string, limits watch.Options, tell func(watch.Event),
	errOut io.Writer, show func(int, *watch.Summary)) ([]*watch.Summary, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	if len(paths) > 1 {
		tell = nil
	}
	type result struct {
		summary *watch.Summary
		remarks bytes.Buffer
		err     error
	}
	results := make([]chan *result, len(paths))
	for i := range results {
		results[i] = make(chan *result, 1)
	}
	go func() {
		at := make(chan struct{}, runtime.GOMAXPROCS(0))
		for i, path := range paths {
			at <- struct{}{}
			go func() {
				defer func() { <-at }()
				r := new(result)
				r.summary, r.err = watchRecording(ctx, path, len(paths) == 1, limits, tell, &r.remarks)
				results[i] <- r
			}()
		}
	}()
	var all []*watch.Summary
	for i := range results {
		r := <-results[i]
		if _, err := r.remarks.WriteTo(errOut); err != nil {
			return all, withStatus(exitInternal, err)
		}
		if r.err != nil {
			return all, r.err
		}
		all = append(all, r.summary)
		show(i, r.summary)
	}
	return all, nil
}
