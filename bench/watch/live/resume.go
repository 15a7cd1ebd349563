package live

import (
	"context"
	"fmt"

	"holdfast/bench/watch"
	"holdfast/bench/watch/keep"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/trace"
)

// resume goes on where a watch was cut off: its recordings are read back, so that its trips, counts and trends
// go on, and the hole is told. Its events were told then and are in the file; they are not told again. A
// recording that the cut tore is read as far as it goes.
func (l *Watch) resume(before keep.Before) error {
	files, err := keep.Recordings(l.Keep, before.Ended)
	if err != nil {
		return err
	}
	var frames uint64
	torn := ""
	l.again = true
	for _, path := range files {
		n, err := l.readBack(path)
		frames += n
		if err != nil {
			torn = fmt.Sprintf("; %v", err)
		}
	}
	l.watcher.Break()
	l.again = false
	l.tell(watch.Event{At: l.source.Now(), Kind: "resumed", Level: watch.Watch,
		Text: fmt.Sprintf("the previous watch was cut off; its last event was at %s UTC. Nothing is known about "+
			"the time since then; %d frames were read back from %d recordings%s",
			before.Last.Format("2006-01-02 15:04:05"), frames, len(files), torn)})
	return nil
}

func (l *Watch) readBack(path string) (frames uint64, err error) {
	r, err := capture.Open(path)
	if err != nil {
		return 0, err
	}
	defer r.Close()
	r.Want(watch.Wanted())
	err = trace.Replay(context.Background(), r, func(piece []can.Frame) error {
		l.watcher.Feed(piece)
		frames += uint64(len(piece))
		return nil
	})
	stats := r.Stats()
	if heard := stats.Received + stats.ErrorFrames; frames > 0 && heard > frames {
		l.watcher.Passed(heard - frames)
		frames = heard
	}
	l.lost += stats.Lost
	return frames, err
}
