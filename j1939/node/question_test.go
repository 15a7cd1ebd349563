package node_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/node"
)

// broadcaster announces the same group every second, as a controller with two active trouble codes sends
// DM1 (SAE J1939-73: once a second). What it sends of each broadcast is the script's.
type broadcaster struct {
	script [][]byte // connection management or data, the sequence number of the latter first
	next   clock.Instant
	at     int
}

func (b *broadcaster) Next() clock.Instant { return b.next }

func (b *broadcaster) Step(now clock.Instant, _ []can.Frame, out []einride.Frame) []einride.Frame {
	if now < b.next {
		return out
	}
	f := einride.Frame{ID: 0x1CECFF3D, IsExtended: true, Length: 8}
	copy(f.Data[:], b.script[b.at])
	if f.Data[0] != 32 {
		f.ID = 0x1CEBFF3D
	}
	const apart = 50 * time.Millisecond
	b.next = now.Add(apart)
	if b.at++; b.at == len(b.script) {
		b.at, b.next = 0, now.Add(max(apart, time.Second-time.Duration(len(b.script)-1)*apart))
	}
	return append(out, f)
}

// A question to everybody ends, however often somebody broadcasts the group, another one in between, or one that is
// never completed: each sender holds it up once.
func TestQuestion_EndsBesideBroadcasts(t *testing.T) {
	announce := []byte{32, 10, 0, 2, 0xFF, 0xCA, 0xFE, 0}
	other := []byte{32, 10, 0, 2, 0xFF, 0xCB, 0xFE, 0}
	one, two := []byte{1, 0, 0xFF, 1, 2, 3, 4, 5}, []byte{2, 6, 7, 8, 0xFF, 0xFF, 0xFF, 0xFF}
	for name, c := range map[string]struct {
		script [][]byte
		end    node.End
	}{
		"again and again":   {[][]byte{announce, one, two}, node.Answered},
		"never completed":   {[][]byte{announce, one}, node.Silent},
		"another meanwhile": {[][]byte{announce, one, other, one, two}, node.Silent},
	} {
		b := newBench(t)
		b.bus.Attach(&broadcaster{script: c.script})
		began := b.bus.Now()
		q := b.ask(t, 65226, 255)
		require.Equal(t, c.end, q.End(), name)
		require.Less(t, b.bus.Now().Sub(began), 5*time.Second, name)
	}
}

// Packets without an end hold a question up for no longer than the longest broadcast takes.
func TestQuestion_EndsBesideEndlessPackets(t *testing.T) {
	b := newBench(t)
	script := [][]byte{{32, 0xF9, 6, 255, 0xFF, 0xCA, 0xFE, 0}} // 1785 bytes
	for range 1000 {
		script = append(script, []byte{1, 0, 0, 0, 0, 0, 0, 0})
	}
	b.bus.Attach(&broadcaster{script: script})
	q, err := b.tool.Ask(65226, 255)
	require.NoError(t, err)
	b.run(t, 2*time.Minute, func() bool { return q.End() != node.Asking })
	require.Equal(t, node.Silent, q.End())
}
