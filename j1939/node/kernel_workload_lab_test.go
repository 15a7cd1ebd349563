//go:build lab

package node_test

import (
	"math/rand/v2"
	"sync/atomic"

	"golang.org/x/sys/unix"

	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

const (
	ourFirst    = 0x80 // our addresses
	kernelFirst = 0x20 // the kernel's
	addresses   = 24   // on each side
	perOurs     = 2    // conversations that one address of ours begins at a time
)

// conversation names one message: no two messages between two nodes have the same group here.
type conversation struct {
	source, to uint8
	pgn        uint32
}

func (c conversation) fromKernel() bool { return c.source < ourFirst }
func (c conversation) broadcast() bool  { return c.to == id.Global }
func (c conversation) back() conversation {
	return conversation{source: c.to, to: c.source, pgn: c.pgn}
}

// transfer is one message and what became of it.
type transfer struct {
	conversation
	data []byte

	sender end
	got    atomic.Int32 // times it arrived, byte for byte
}

// end is how one side ended a message.
type end struct {
	told   bool
	ok     bool             // the sender: acknowledged, or a broadcast that is out
	reason transport.Reason // of an abort, where our own stack tells it
	errno  unix.Errno       // of an abort, where the kernel tells it
	other  string           // anything else
}

// workload is the messages of one run.
type workload struct {
	byName map[conversation]*transfer
	queues map[uint8][]*transfer // by source
}

// plan of a workload: how many messages each way, and how many of them are extended or broadcasts.
type plan struct {
	seed       uint64
	eachWay    int
	extended   int // each way, of 1786 to 20 000 bytes, and the first two of 100 000
	broadcasts int // each way
}

func newWorkload(p plan) *workload {
	random := rand.New(rand.NewPCG(p.seed, 1))
	w := &workload{byName: map[conversation]*transfer{}, queues: map[uint8][]*transfer{}}
	for way := range 2 {
		for n := range p.eachWay {
			from, to := uint8(random.IntN(addresses)), uint8(random.IntN(addresses))
			c := conversation{source: ourFirst + from, to: kernelFirst + to}
			if way == 1 {
				c = conversation{source: kernelFirst + from, to: ourFirst + to}
			}
			var size int
			switch {
			case n < 2 && p.extended > 0:
				size = 100_000
			case n < p.extended:
				size = transport.MinExtendedSize + random.IntN(20_000-transport.MinExtendedSize)
			case n < p.extended+p.broadcasts:
				c.to, size = id.Global, drawSize(random, true)
			default:
				size = drawSize(random, false)
			}
			w.add(c, size, random)
		}
	}
	for _, queue := range w.queues {
		random.Shuffle(len(queue), func(i, k int) { queue[i], queue[k] = queue[k], queue[i] })
	}
	return w
}

// add makes one message, of a group of its own between its two nodes.
func (w *workload) add(c conversation, size int, random *rand.Rand) {
	for n := 0; ; n++ {
		c.pgn = addressedGroups[n%len(addressedGroups)]
		if c.broadcast() {
			c.pgn = 65280 + uint32(n) // proprietary B
		}
		if n == 255 {
			panic("more messages between two nodes than there are groups for them")
		}
		if w.byName[c] == nil && w.byName[c.back()] == nil {
			break
		}
	}
	x := &transfer{conversation: c, data: make([]byte, size)}
	for i := range x.data {
		x.data[i] = byte(random.Uint32())
	}
	w.byName[c] = x
	w.queues[c.source] = append(w.queues[c.source], x)
}

// addressedGroups are PDU1 groups that mean nothing to either stack.
var addressedGroups = func() (groups []uint32) {
	for format := uint32(0); format < 240; format++ {
		switch group := format << 8; group {
		case transport.PGNConnection, transport.PGNData, transport.PGNExtendedConnection, transport.PGNExtendedData,
			0xE800, 0xEA00, 0xEE00: // acknowledgment, request, address claimed
		default:
			groups = append(groups, group, group|0x10000)
		}
	}
	return groups
}()

// drawSize draws a size: most are short, as on a vehicle, and some as long as they can be.
func drawSize(random *rand.Rand, broadcast bool) int {
	switch n := random.IntN(100); {
	case n < 60 || broadcast && n < 95:
		return 9 + random.IntN(112)
	case broadcast:
		return 9 + random.IntN(800)
	case n < 85:
		return 9 + random.IntN(600)
	case n == 99:
		return transport.MaxSize
	default:
		return 9 + random.IntN(transport.MaxSize-8)
	}
}
