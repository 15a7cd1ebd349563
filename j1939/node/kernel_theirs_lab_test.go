//go:build lab

package node_test

import (
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// kernelSide runs the kernel's addresses: for each a goroutine that sends its messages one after the other
// and one that receives.
type kernelSide struct {
	w    *workload
	left atomic.Int64

	mu      sync.Mutex
	strange []arrival
}

func (k *kernelSide) run(t *testing.T, stop <-chan struct{}) (wait func()) {
	t.Helper()
	var all sync.WaitGroup
	for n := range addresses {
		s := openKernel(t, kernelEnd, kernelFirst+uint8(n))
		queue := k.w.queues[s.address]
		k.left.Add(int64(len(queue)))
		events := make(chan kernelEvent, 16)
		all.Go(func() { k.receive(s, events, stop) })
		all.Go(func() { k.send(s, queue, events, stop) })
	}
	return all.Wait
}

func (k *kernelSide) send(s *kernelSocket, queue []*transfer, events <-chan kernelEvent,
	stop <-chan struct{}) {
	for _, x := range queue {
		number, err := s.send(x.pgn, x.to, x.data)
		if err != nil {
			x.sender = end{told: true, other: "send: " + err.Error()}
			k.left.Add(-1)
			continue
		}
		if !await(x, number, events, stop) {
			return
		}
		k.left.Add(-1)
	}
}

// await takes what the kernel tells of one message; false when the run is over.
func await(x *transfer, number uint32, events <-chan kernelEvent, stop <-chan struct{}) bool {
	limit := time.After(20 * time.Second)
	for {
		select {
		case e := <-events:
			if e.number != number {
				continue // a second word on an earlier one
			}
			x.sender = end{told: true, ok: e.errno == 0, errno: e.errno}
			return true
		case <-limit:
			x.sender = end{told: true, other: "the kernel tells no end"}
			return true
		case <-stop:
			return false
		}
	}
}

func (k *kernelSide) receive(s *kernelSocket, events chan<- kernelEvent, stop <-chan struct{}) {
	buf := make([]byte, 256<<10)
	for {
		select {
		case <-stop:
			return
		default:
		}
		s.wait(50 * time.Millisecond)
		for {
			data, from, ok := s.receive(buf)
			if !ok {
				break
			}
			k.arrived(s, conversation{source: from.Addr, to: s.destination(from.PGN), pgn: from.PGN}, data)
		}
		for {
			e, ok := s.event()
			if !ok {
				break
			}
			if e.sent {
				events <- e
			}
		}
	}
}

func (k *kernelSide) arrived(s *kernelSocket, c conversation, data []byte) {
	// The kernel's sockets hear each other's broadcasts too; of ours, one of them vouches for all.
	if c.broadcast() && (c.fromKernel() || s.address != kernelFirst) {
		return
	}
	if x := k.w.byName[c]; x != nil && string(data) == string(x.data) {
		x.got.Add(1)
		return
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.strange = append(k.strange, arrival{c, slices.Clone(data)})
}
