//go:build lab

package node_test

import (
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

func TestMain(m *testing.M) {
	if os.Getenv("CAN_LAB") == "" {
		println("these tests reconfigure CAN interfaces: run them by .ci/test-can")
		os.Exit(1)
	}
	os.Exit(m.Run())
}

func command(t *testing.T, line string) {
	t.Helper()
	words := strings.Fields(line)
	out, err := exec.Command(words[0], words[1:]...).CombinedOutput()
	require.NoError(t, err, "%s: %s", line, out)
}

// The two ends of the virtual wire.
const (
	ourEnd    = "vxcan0"
	kernelEnd = "vxcan1"
)

// prepare makes the virtual wire a wire. Its frames take half a millisecond, and none is dropped for want of a
// place in a queue, as a burst of a whole window into a wire of no length would be. Without the delay an answer
// can overtake the kernel's echo of its own request, which it takes for a second one. And its frames arrive in
// the order they were sent: each end hears on one processor. Otherwise a frame waits for the processor that
// is busy while later ones pass it on the other, which no bus does.
func prepare(t *testing.T, damage string) {
	t.Helper()
	command(t, "dmesg -n 1") // the console of the emulated computer is slow, and the kernel tells every abort
	require.NoError(t, os.WriteFile("/proc/sys/net/core/netdev_max_backlog", []byte("100000"), 0o644))
	for n, iface := range []string{ourEnd, kernelEnd} {
		require.NoError(t, os.WriteFile("/sys/class/net/"+iface+"/queues/rx-0/rps_cpus",
			fmt.Appendf(nil, "%x", 1<<(n%runtime.NumCPU())), 0o644))
		command(t, "tc qdisc add dev "+iface+" root netem limit 100000 delay 500us "+damage)
		t.Cleanup(func() { command(t, "tc qdisc del dev "+iface+" root") })
	}
}

// tap listens at the kernel's end of the wire, behind the damage. It notes the aborts, because the kernel's
// sockets tell their reasons by errno, several under one; and it reassembles the broadcasts from the very
// frames that the kernel has them from.
type tap struct {
	aborts     map[conversation][]transport.Reason // as they were sent
	said       map[conversation][]string           // everything in TP.CM and ETP.CM, for who looks into a failure
	listener   transport.Receiver
	broadcasts map[conversation]bool // reassembled
	lost       uint64
}

func openTap(t *testing.T, stop <-chan struct{}) (p *tap, wait func()) {
	t.Helper()
	const format = 0x00FF0000
	port, err := socketcan.Open(kernelEnd, socketcan.Options{ReceiveBuffer: 64 << 20,
		Filters: []socketcan.Filter{
			{ID: transport.PGNConnection << 8, Mask: format, Extended: true},
			{ID: transport.PGNExtendedConnection << 8, Mask: format, Extended: true},
			{ID: transport.PGNData<<8 | 0xFF00, Mask: format | 0xFF00, Extended: true},
		}})
	require.NoError(t, err)
	p = &tap{aborts: map[conversation][]transport.Reason{}, said: map[conversation][]string{},
		broadcasts: map[conversation]bool{}}
	var all sync.WaitGroup
	all.Go(func() {
		defer func() { _ = port.Close() }()
		in := make([]can.Frame, 64)
		for {
			select {
			case <-stop:
				p.lost = port.Stats().Lost
				return
			default:
			}
			n, err := port.Receive(in, port.Now().Add(50*time.Millisecond))
			if err != nil {
				p.lost++
				return
			}
			for i := range in[:n] {
				p.hear(&in[i])
			}
		}
	})
	return p, all.Wait
}

func (p *tap) hear(f *can.Frame) {
	number := id.ID(f.ID)
	c := conversation{source: number.Source(), to: number.Destination(),
		pgn: uint32(f.Data[5]) | uint32(f.Data[6])<<8 | uint32(f.Data[7])<<16}
	if number.PGN() != transport.PGNData {
		key := c
		if c.fromKernel() {
			key = c.back()
		}
		p.said[key] = append(p.said[key], fmt.Sprintf("%.3f %v>%v %s", float64(f.Time%1e12)/1e9, c.source, c.to,
			f.Frame))
	}
	switch {
	case c.to == id.Global:
		if m, event := p.listener.Step(f, f.Time); event == transport.Completed {
			p.broadcasts[conversation{source: m.Source, to: m.Destination, pgn: m.PGN}] = true
		}
	case f.Data[0] == 255:
		p.aborts[c] = append(p.aborts[c], transport.Reason(f.Data[1]))
	}
}

// wire is what was said in a conversation by both nodes.
func (p *tap) wire(c conversation) []string {
	if c.fromKernel() {
		c = c.back()
	}
	return p.said[c]
}
