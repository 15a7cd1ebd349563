package trace

import (
	"context"
	"errors"
	"io"
	"time"

	"holdfast/j1939/can"
)

const (
	framesAtOnce = 4096                   // with 1024 the two goroutines mostly wake each other: a third slower
	piecesAhead  = 4                      // pieces between the reading and the handling goroutine
	listenFor    = 100 * time.Millisecond // how long a silent bus delays the end
)

// Listen receives from a live source until it or ctx ends, and passes each batch to handle as soon as it
// arrives. The end of ctx is not an error.
func Listen(ctx context.Context, source can.Source, handle func([]can.Frame) error) error {
	frames := make([]can.Frame, framesAtOnce)
	for ctx.Err() == nil {
		n, err := source.Receive(frames, source.Now().Add(listenFor))
		if n > 0 {
			if err := handle(frames[:n]); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Replay reads a recording to its end and passes it to handle in batches, in order. It reads
// ahead in a goroutine of its own, so that reading and decoding use two cores where there are two; at most
// some ten thousand frames are in memory. The end of ctx is not an error.
func Replay(ctx context.Context, source can.Source, handle func([]can.Frame) error) error {
	ctx, stop := context.WithCancel(ctx)
	full, free := make(chan piece, piecesAhead), make(chan []can.Frame, piecesAhead)
	for range piecesAhead {
		free <- make([]can.Frame, framesAtOnce)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		readAhead(ctx, source, full, free)
	}()
	defer func() { stop(); <-done }() // the source is the caller's again when Replay returns
	for {
		select {
		case <-ctx.Done():
			return nil
		case p := <-full:
			if err := handle(p.frames); err != nil {
				return err
			}
			if errors.Is(p.err, io.EOF) {
				return nil
			}
			if p.err != nil {
				return p.err
			}
			free <- p.frames[:framesAtOnce]
		}
	}
}

type piece struct {
	frames []can.Frame
	err    error
}

func readAhead(ctx context.Context, source can.Source, full chan<- piece, free <-chan []can.Frame) {
	for {
		select {
		case <-ctx.Done():
			return
		case frames := <-free:
			n, err := source.Receive(frames, source.Now())
			full <- piece{frames[:n], err} // never blocks: there are no more pieces than places
			if err != nil {
				return
			}
		}
	}
}
