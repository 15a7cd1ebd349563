package capture

import (
	"sync"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// TapPort is a port whose traffic is recorded.
type TapPort struct {
	can.Port

	mu      sync.Mutex
	writer  *Writer
	failure error
}

// Tap records every frame that is heard and sent through port: a heard one with its own time, a sent one
// with the bus's time at which the port accepted it. A recording that fails does not disturb the traffic (a
// safe state must still go out); Err tells it. Who closes the port closes the writer too.
func Tap(port can.Port, w *Writer) *TapPort { return &TapPort{Port: port, writer: w} }

// Receive hears through the port and records.
func (t *TapPort) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	n, err := t.Port.Receive(dst, until)
	for i := range n {
		t.record(&dst[i], Inbound)
	}
	return n, err
}

// Send sends through the port and records what was accepted.
func (t *TapPort) Send(f einride.Frame) error {
	if err := t.Port.Send(f); err != nil {
		return err
	}
	t.record(&can.Frame{Frame: f, Time: t.Port.Now()}, Outbound)
	return nil
}

func (t *TapPort) record(f *can.Frame, d Direction) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.failure == nil {
		t.failure = t.writer.Write(*f, d)
	}
}

// Err is the first failure of the recording; nil when every frame was recorded.
func (t *TapPort) Err() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.failure
}
