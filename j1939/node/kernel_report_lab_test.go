//go:build lab

package node_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/transport"
)

// conformance is one run of a workload.
type conformance struct {
	w    *workload
	o    *ours
	k    *kernelSide
	tap  *tap
	took time.Duration
	late time.Duration // the longest that a timer of the emulated computer ran out after its time
}

// standstill is half of the shortest timer of the transport (T1, 750 ms): a computer that stood still for longer
// may have let timers run out on which the stacks had no part.
const standstill = transport.T1 / 2

// punctualRun is a run in which the emulated computer did not stand still: the first of up to three. What the
// others were is logged.
func punctualRun(t *testing.T, p plan, damage string, limit time.Duration) *conformance {
	t.Helper()
	for n := range 3 {
		var c *conformance
		if !t.Run(fmt.Sprintf("run %d", n+1), func(t *testing.T) { c = run(t, p, damage, limit) }) {
			t.FailNow()
		}
		if c.late < standstill && c.o.asleep < standstill {
			return c
		}
		t.Logf("does not count: the emulated computer stood still (a timer late by %v, our longest pause %v)",
			c.late, c.o.asleep)
	}
	require.Fail(t, "the emulated computer stood still in each of three runs")
	return nil
}

// watchTimers returns how late the latest of many short timers was, when it is asked for.
func watchTimers() (latest func() time.Duration) {
	const step = 10 * time.Millisecond
	stop, late := make(chan struct{}), make(chan time.Duration)
	go func() {
		var most time.Duration
		for {
			began := time.Now()
			select {
			case <-time.After(step):
				most = max(most, time.Since(began)-step)
			case <-stop:
				late <- most
				return
			}
		}
	}()
	return func() time.Duration { close(stop); return <-late }
}

// run gives both sides their messages and returns when every one has ended.
func run(t *testing.T, p plan, damage string, limit time.Duration) *conformance {
	t.Helper()
	t.Logf("seed %d", p.seed)
	prepare(t, damage)
	w := newWorkload(p)
	c := &conformance{w: w, o: newOurs(t, w, rand.New(rand.NewPCG(p.seed, 2))),
		k: &kernelSide{w: w}}
	stop := make(chan struct{})
	var waitTap func()
	c.tap, waitTap = openTap(t, stop)
	wait := c.k.run(t, stop)
	in := make([]can.Frame, 256)
	latest := watchTimers()
	began := c.o.port.Now()
	idle := began
	for c.o.port.Now().Sub(began) < limit {
		require.NoError(t, c.o.turn(in))
		if c.o.left > 0 || c.k.left.Load() > 0 {
			idle = c.o.port.Now()
		}
		if c.o.port.Now().Sub(idle) > 2*time.Second { // the receivers' timers have run out too
			break
		}
	}
	c.took, c.late = c.o.port.Now().Sub(began), latest()
	close(stop)
	wait()
	waitTap()
	require.Zero(t, c.o.left, "messages of ours that have not ended after %v", c.took)
	require.Zero(t, c.k.left.Load(), "messages of the kernel that have not ended after %v", c.took)
	return c
}

// tally is what the report counts.
type tally struct {
	whole   [2]int // ours to the kernel, the kernel to ours
	bytes   [2]int
	lines   [2]map[string]int
	crossed int // both sides aborted at one time, each for a reason of its own

	// Disagreements of the kernel with the standard, each shown in kernel_disagrees_lab_test.go.
	mixed   int // packets of two broadcasts delivered as one message
	deaf    int // our abort did not end the kernel's sending: its timer did
	spurned int // sent again in the last window as asked, then aborted
	doubled int // an RTS doubled on the path ended the message
}

// report prints what became of every message. It fails for each that is neither whole nor ended with a reason
// that both sides can name.
func (c *conformance) report(t *testing.T, title string) tally {
	t.Helper()
	require.Zero(t, c.tap.lost, "the tap has lost frames")
	y := tally{lines: [2]map[string]int{{}, {}}, mixed: c.explain(t)}
	for _, x := range c.w.byName {
		c.count(t, x, &y)
	}
	t.Logf("%s: %d messages in %.0f s; %d frames sent by us, %d lost before us; our longest pause %d ms,"+
		" the latest timer %d ms", title, len(c.w.byName), c.took.Seconds(), c.o.frames, c.o.port.Stats().Lost,
		c.o.asleep.Milliseconds(), c.late.Milliseconds())
	for way, name := range [2]string{"ours to the kernel", "the kernel to ours"} {
		t.Logf("  %s: %d whole, %d bytes", name, y.whole[way], y.bytes[way])
		for _, line := range slices.Sorted(maps.Keys(y.lines[way])) {
			t.Logf("    %5d  %s", y.lines[way][line], line)
		}
	}
	t.Logf("  of these, where the kernel and the standard disagree (kernel_disagrees_lab_test.go):"+
		" %d broadcasts mixed, %d times deaf to our abort, %d aborted after the last window was sent again,"+
		" %d aborted by a doubled RTS", y.mixed, y.deaf, y.spurned, y.doubled)
	t.Logf("  both sides aborted at one time, each for its own reason: %d", y.crossed)
	return y
}

func (c *conformance) count(t *testing.T, x *transfer, y *tally) {
	t.Helper()
	way := 0
	if x.fromKernel() {
		way = 1
	}
	require.True(t, x.sender.told, "message %v has no end", x.conversation)
	require.LessOrEqual(t, x.got.Load(), int32(1), "message %v arrived twice", x.conversation)
	sent, far := c.reason(t, x, x.sender), c.receiver(t, x)
	received := "nothing"
	switch {
	case x.got.Load() == 1:
		received = "whole"
		y.whole[way]++
		y.bytes[way] += len(x.data)
		if x.fromKernel() && sent == transport.RetransmitLimit {
			y.spurned++
		}
	case x.sender.ok:
		require.True(t, x.broadcast(), "message %v of %d bytes was acknowledged and did not arrive", x.conversation,
			len(x.data))
	case far != transport.ReasonNone:
		received = far.String()
		c.compare(x, sent, far, y)
	}
	y.lines[way][fmt.Sprintf("%-9s  sender: %-58s receiver: %s", x.kind(), senderText(x, sent), received)]++
}

// compare holds the two sides' reasons against each other: alike, or the abort was lost and a timer
// ended the other side.
func (c *conformance) compare(x *transfer, sent, far transport.Reason, y *tally) {
	switch {
	case sent == far:
		if !x.fromKernel() && sent == transport.AlreadyInSession {
			y.doubled++
		}
	case x.fromKernel() && sent == transport.Timeout && slices.Contains(c.tap.aborts[x.back()], far):
		y.deaf++
	case sent != transport.Timeout && far != transport.Timeout:
		y.crossed++
	}
}

func (x *transfer) kind() string {
	switch {
	case x.broadcast():
		return "broadcast"
	case len(x.data) > transport.MaxSize:
		return "extended"
	default:
		return "addressed"
	}
}

func senderText(x *transfer, reason transport.Reason) string {
	switch {
	case x.sender.ok && x.broadcast():
		return "sent"
	case x.sender.ok:
		return "acknowledged"
	case x.sender.other != "":
		return x.sender.other
	default:
		return reason.String()
	}
}

// receiver is why the receiver gave a message up; ReasonNone when it never began or was never told. Of the
// kernel as a receiver the aborts on the wire tell it, by number and not by errno.
func (c *conformance) receiver(t *testing.T, x *transfer) transport.Reason {
	t.Helper()
	list := c.o.aborts[x.conversation]
	if !x.fromKernel() {
		list = slices.Concat(c.tap.aborts[x.back()], c.tap.aborts[x.conversation])
	}
	if len(list) == 0 {
		return transport.ReasonNone
	}
	require.NotContains(t, list[0].String(), "reserved", "message %v: no reason of the standard", x.conversation)
	return list[0]
}

// reason is the standard's reason for an end. What the kernel tells by errno must have been said on
// the wire, in a frame that means that errno.
func (c *conformance) reason(t *testing.T, x *transfer, e end) transport.Reason {
	t.Helper()
	reason := e.reason
	if e.errno != 0 {
		said := slices.Concat(c.tap.aborts[x.conversation], c.tap.aborts[x.back()])
		n := slices.IndexFunc(said, func(r transport.Reason) bool { return errnoOf(r) == e.errno })
		require.GreaterOrEqual(t, n, 0, "message %v of %d bytes: the kernel tells %v; on the wire was said %v",
			x.conversation, len(x.data), e.errno, c.tap.wire(x.conversation))
		reason = said[n]
	}
	require.NotContains(t, reason.String(), "reserved", "message %v: no reason of the standard", x.conversation)
	return reason
}

// explain takes what arrived and was not sent so. The only explanation there is: the kernel fills a broadcast
// of which a packet is missing with the packets of the next ones from the same source. That is a disagreement
// with the standard, held in TestLab_KernelMixesBroadcasts; here it must be exactly that.
func (c *conformance) explain(t *testing.T) (mixed int) {
	t.Helper()
	require.Empty(t, c.o.strange, "we received what nobody sent")
	for _, a := range c.k.strange {
		order := c.o.order[a.source]
		n := slices.IndexFunc(order, func(x *transfer) bool { return x.conversation == a.conversation })
		require.GreaterOrEqual(t, n, 0, "the kernel delivered %v, which nobody sent", a.conversation)
		require.Zero(t, order[n].got.Load(), "%v came whole and changed", a.conversation)
		require.False(t, c.tap.broadcasts[a.conversation], "no packet of %v is missing in the frames that the kernel"+
			" heard", a.conversation)
		require.True(t, isMixed(a.data, order[n:]), "%v: %d bytes arrived at the kernel changed:\n%X\nsent:\n%X",
			a.conversation, len(a.data), a.data, order[n].data)
		mixed++
	}
	return mixed
}

// isMixed says that every packet is that of the first message or the one of its number in a later one of the same
// source. That may be the next or, as every packet renews the kernel's timer, any one after it.
func isMixed(data []byte, sent []*transfer) bool {
	if len(data) != len(sent[0].data) {
		return false
	}
	for from := 0; from < len(data); from += 7 {
		part := data[from:min(from+7, len(data))]
		if !slices.ContainsFunc(sent, func(x *transfer) bool {
			// The last packet of a shorter message is padded with FF.
			packet := append(slices.Clone(x.data), 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF)
			return from < len(x.data) && len(packet) >= from+len(part) &&
				string(packet[from:from+len(part)]) == string(part)
		}) {
			return false
		}
	}
	return true
}
