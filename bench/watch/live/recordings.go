package live

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace"
)

// Recording is what was found in one recording.
type Recording struct {
	Summary *watch.Summary
	Heard   uint64 // frames, error frames among them
	Skipped uint64 // records that are not classic CAN
}

// ReadAll reads recordings, as many at a time as there are processors, and hands what was found to show in the order
// they were named. The first that cannot be read or shown, in that order, is the error; what came before it has been
// shown. With one recording tell hears its events; it may be nil.
func ReadAll(ctx context.Context, paths []string, limits watch.Options, tell func(watch.Event),
	show func(int, Recording) error) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	if len(paths) > 1 {
		tell = nil
	}
	type result struct {
		Recording
		err error
	}
	results := make([]chan result, len(paths))
	for i := range results {
		results[i] = make(chan result, 1)
	}
	go func() {
		at := make(chan struct{}, runtime.GOMAXPROCS(0))
		for i, path := range paths {
			at <- struct{}{}
			go func() {
				defer func() { <-at }()
				var r result
				r.Recording, r.err = Read(ctx, path, limits, tell)
				results[i] <- r
			}()
		}
	}()
	for i := range results {
		r := <-results[i]
		if r.err != nil {
			return r.err
		}
		if err := show(i, r.Recording); err != nil {
			return err
		}
	}
	return nil
}

// Read reads a recording to its end. tell hears its events; it may be nil.
func Read(ctx context.Context, path string, limits watch.Options, tell func(watch.Event)) (Recording, error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return Recording{}, fmt.Errorf("%s is a folder: name the recordings in it (%s)", path,
			filepath.Join(path, "*.pcapng"))
	}
	reader, err := capture.Open(path)
	if err != nil {
		return Recording{}, err
	}
	defer reader.Close()
	w := watch.New(limits, tell)
	if err := Feed(ctx, reader, w); err != nil {
		return Recording{}, err
	}
	s := reader.Stats()
	return Recording{w.Summary(path, s.Lost), s.Received + s.ErrorFrames, s.Skipped}, nil
}

// inFull is a recording that is handed out in full pieces: handing a piece from one processor to another
// costs more than reading it.
type inFull struct{ can.Source }

// Receive fills dst unless the recording ends or fails before.
func (r inFull) Receive(dst []can.Frame, until clock.Instant) (n int, err error) {
	for n < len(dst) && err == nil {
		var more int
		more, err = r.Source.Receive(dst[n:], until)
		n += more
	}
	return n, err
}

// Feed reads a recording to its end into a watcher, without building the frames that it does not look at.
func Feed(ctx context.Context, reader *capture.Reader, w *watch.Watcher) error {
	reader.Want(watch.Wanted())
	var fed uint64
	err := trace.Replay(ctx, inFull{reader}, func(frames []can.Frame) error {
		w.Feed(frames)
		fed += uint64(len(frames))
		return nil
	})
	if stats := reader.Stats(); fed > 0 {
		w.Passed(max(stats.Received+stats.ErrorFrames, fed) - fed)
	}
	w.Finish()
	return err
}
