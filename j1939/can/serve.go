package can

import (
	"context"
	"errors"
	"fmt"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/clock"
)

// Limits of Serve.
const (
	serveBatch    = 256                    // frames taken from the port at once
	serveWaitMax  = 100 * time.Millisecond // a cancelled context is seen no later than this
	serveRetryMax = 10 * time.Millisecond  // a full transmit queue is tried again no later than this
	// servePause stands between two frames of one step: what a 29-bit frame of 8 bytes takes on a wire at
	// 250 kbit/s (131 to 160 bits). A wire makes its senders wait by itself; an emulated controller does not,
	// and a burst overruns whoever listens.
	servePause = 600 * time.Microsecond
)

// Served counts what Serve did.
type Served struct {
	Steps   uint64 // calls of Process.Step
	Retried uint64 // frames that found the transmit queue full and were tried again
	Dropped uint64 // frames given up because the queue was still full at the second try
}

// Serve runs a process on a port in the port's own time, until ctx is cancelled (nil) or the port fails
// (its error, wrapped). It sends nothing on its way out: who must leave a safe state behind sends it after.
func Serve(ctx context.Context, port Port, p Process) error {
	var done Served
	return ServeCounted(ctx, port, p, &done)
}

// ServeCounted is Serve with a count of its work in done, which may be read after it has returned.
func ServeCounted(ctx context.Context, port Port, p Process, done *Served) error {
	s := server{port: port, process: p, done: done, in: make([]Frame, serveBatch), last: port.Now()}
	for ctx.Err() == nil {
		if err := s.turn(); err != nil {
			return fmt.Errorf("serve %T: %w", p, err)
		}
	}
	return nil
}

type server struct {
	port    Port
	process Process
	done    *Served
	in      []Frame
	out     []einride.Frame // sent by the last step
	again   []einride.Frame // refused at their first try
	last    clock.Instant   // latest time given to the process: it never sees time go back
}

// turn waits for a frame, the process's next time or a limit, and steps the process if it has reason to.
func (s *server) turn() error {
	wait := serveWaitMax
	if len(s.again) > 0 {
		wait = serveRetryMax
	}
	n, err := s.port.Receive(s.in, min(s.process.Next(), s.port.Now().Add(wait)))
	if err != nil {
		return err
	}
	s.last = max(s.last, s.port.Now())
	if err := s.retry(); err != nil {
		return err
	}
	if n == 0 && s.process.Next() > s.last {
		return nil
	}
	return s.step(n)
}

func (s *server) step(n int) error {
	s.out = s.process.Step(s.last, s.in[:n], s.out[:0])
	s.done.Steps++
	if next := s.process.Next(); next <= s.last {
		panic(fmt.Sprintf("can: %T stepped to %d ns wants its next step at %d ns, which is not later",
			s.process, s.last, next))
	}
	for i, f := range s.out {
		if i > 0 {
			time.Sleep(servePause)
		}
		err := s.port.Send(f)
		if errors.Is(err, ErrBusy) {
			s.again = append(s.again[:0], s.out[i:]...) // in order: none overtakes the refused one
			return nil
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// retry sends once more what the last step could not, and gives up what is refused again:
// an old command or reading must not wait for a bus on which nobody listens.
func (s *server) retry() error {
	defer func() { s.again = s.again[:0] }()
	for i, f := range s.again {
		s.done.Retried++
		err := s.port.Send(f)
		if errors.Is(err, ErrBusy) {
			s.done.Dropped += uint64(len(s.again) - i)
			return nil
		}
		if err != nil {
			return err
		}
	}
	return nil
}
