package claim_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/claim"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/name"
)

// member is a node and its table as a process on a virtual bus.
type member struct {
	*claim.Node
	table claim.Table
	start clock.Instant
	began bool
	name  name.NAME
	sent  []string
}

func newMember(n name.NAME, preferred uint8) *member {
	m := &member{name: n}
	m.Node = claim.NewNode(claim.Options{NAME: n, Preferred: preferred, Seed: uint32(n)}, &m.table)
	return m
}

func (m *member) Next() clock.Instant {
	if !m.began {
		return m.start
	}
	return m.Node.Next()
}

func (m *member) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	for i := range in {
		m.table.Hear(&in[i])
	}
	if !m.began && now >= m.start {
		m.began = true
		out = m.Start(now, out)
	}
	out = m.Node.Step(now, in, out)
	for _, f := range out {
		m.sent = append(m.sent, f.String())
	}
	return out
}

const (
	low, high  name.NAME = 0x0000000000000001, 0x0000000000000002
	lowMoving            = low | 1<<63
	highMoving           = high | 1<<63
)

func run(d time.Duration, members ...*member) {
	bus := virtual.New(0, 250_000)
	for _, m := range members {
		bus.Attach(m)
	}
	bus.Advance(clock.Instant(d))
}

func TestNode_ClaimsAfterObjectionTime(t *testing.T) {
	a := newMember(low, 0x80)
	bus := virtual.New(0, 250_000)
	bus.Attach(a)
	bus.Advance(clock.Instant(249 * time.Millisecond))
	require.Equal(t, claim.Claiming, a.State())
	require.Equal(t, id.Null, a.Address())
	bus.Advance(clock.Instant(251 * time.Millisecond))
	require.Equal(t, claim.Claimed, a.State())
	require.EqualValues(t, 0x80, a.Address())
	require.Equal(t, []string{"18EEFF80#0100000000000000"}, a.sent)
}

// Published (E2, E3: python-can-j1939 test_ca.py): the loser that may not move sends its NAME from address
// 254.
func TestNode_PublishedCannotClaim(t *testing.T) {
	n, _ := name.Decode([]byte{0x87, 0xD6, 0x52, 0x53, 0x82, 0xC9, 0xFE, 0x52})
	a, b := newMember(n, 0x80), newMember(low, 0x80)
	b.start = clock.Instant(100 * time.Millisecond)
	run(time.Second, a, b)
	require.Equal(t, []string{"18EEFF80#87D6525382C9FE52", "18EEFFFE#87D6525382C9FE52"}, a.sent)
	require.Equal(t, claim.Lost, a.State())
	require.Contains(t, a.Why(), "address 128 is held by NAME 0000000000000001")
	require.Equal(t, claim.Claimed, b.State())
}

func TestNode_Contests(t *testing.T) {
	for _, c := range []struct {
		name                        string
		first, second               name.NAME
		after                       time.Duration
		firstAddress, secondAddress uint8
		firstState, secondState     claim.State
	}{
		{"the later one is higher and may not move", low, high, time.Second, 0x80, 254, claim.Claimed, claim.Lost},
		{"the later one is higher and moves", low, highMoving, time.Second, 0x80, 0x81, claim.Claimed,
			claim.Claimed},
		{"the later one is lower", high, low, time.Second, 254, 0x80, claim.Lost, claim.Claimed},
		{"the later one is lower, the first moves", highMoving, low, time.Second, 0x81, 0x80, claim.Claimed,
			claim.Claimed},
		{"during the objection time", high, low, 100 * time.Millisecond, 254, 0x80, claim.Lost, claim.Claimed},
		{"at one instant", highMoving, lowMoving, 0, 0x81, 0x80, claim.Claimed, claim.Claimed},
		{"one NAME twice", low, low, time.Second, 254, 254, claim.Lost, claim.Lost},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, b := newMember(c.first, 0x80), newMember(c.second, 0x80)
			b.start = clock.Instant(c.after)
			run(3*time.Second, a, b)
			if c.first == c.second { // the second's claim makes the first give up; nobody then objects to the second
				require.Equal(t, claim.Lost, a.State())
				require.Contains(t, a.Why(), "same NAME")
				return
			}
			require.Equal(t, c.firstState, a.State(), a.Why())
			require.Equal(t, c.secondState, b.State(), b.Why())
			require.Equal(t, c.firstAddress, a.Address())
			require.Equal(t, c.secondAddress, b.Address())
		})
	}
}

// Any number of nodes that may all move, all wanting one address at any time: each ends with its own.
func TestNode_EverybodyFindsAPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 20).Draw(t, "nodes")
		var members []*member
		for k := range n {
			m := newMember(name.NAME(1<<63|uint64(k+1)), rapid.Uint8Range(0x80, 0x84).Draw(t, "preferred"))
			m.start = clock.Instant(rapid.IntRange(0, 2000).Draw(t, "start")) * clock.Instant(time.Millisecond)
			members = append(members, m)
		}
		run(20*time.Second, members...)
		held := map[uint8]bool{}
		for _, m := range members {
			require.Equal(t, claim.Claimed, m.State())
			require.False(t, held[m.Address()], "two nodes at one address")
			held[m.Address()] = true
			for _, other := range members { // all tables agree
				at, ok := other.table.Find(m.name)
				if ok {
					require.Equal(t, m.Address(), at)
				}
			}
		}
	})
}

func TestNode_AnswersRequests(t *testing.T) {
	a, loser := newMember(low, 0x80), newMember(high, 0x80)
	bus := virtual.New(0, 250_000)
	bus.Attach(a)
	bus.Attach(loser)
	port := bus.Open("asks")
	bus.Advance(clock.Instant(time.Second))
	a.sent, loser.sent = nil, nil
	ask := func(destination, source uint8) {
		f := einride.Frame{ID: uint32(id.Must(6, claim.PGNRequest, destination, source)), IsExtended: true, Length: 3}
		copy(f.Data[:], id.PGNBytes(claim.PGNClaimed))
		require.NoError(t, port.Send(f))
	}
	ask(id.Global, id.Null) // who has no address may ask, too
	bus.Advance(clock.Instant(2 * time.Second))
	require.Equal(t, []string{"18EEFF80#0100000000000000"}, a.sent)
	require.Equal(t, []string{"18EEFFFE#0200000000000000"}, loser.sent)

	ask(0x80, 0x10)
	bus.Advance(clock.Instant(3 * time.Second))
	require.Len(t, a.sent, 2)
	require.Len(t, loser.sent, 1, "it was not asked")
}

func TestNode_CommandedAddress(t *testing.T) {
	a := newMember(low, 0x80)
	run(time.Second, a)
	now := clock.Instant(time.Second)
	require.Empty(t, a.Command([]byte{2, 0, 0, 0, 0, 0, 0, 0, 0x30}, now, nil), "another NAME")
	require.Empty(t, a.Command([]byte{1, 0, 0, 0, 0, 0, 0, 0, 254}, now, nil), "no address")
	require.Empty(t, a.Command([]byte{1, 0, 0, 0, 0, 0, 0, 0}, now, nil), "too short")
	out := a.Command([]byte{1, 0, 0, 0, 0, 0, 0, 0, 0x30}, now, nil)
	require.Len(t, out, 1)
	require.Equal(t, "18EEFF30#0100000000000000", out[0].String())
	require.Equal(t, claim.Claiming, a.State())
	a.Node.Step(now.Add(claim.Objection), nil, nil)
	require.EqualValues(t, 0x30, a.Address())
	changes, _ := a.table.Changes()
	require.Equal(t, []uint8{0x80, 254, 0x30}, []uint8{changes[0].To, changes[1].To, changes[2].To})
}

// The table over time: who held an address, who displaced whom, and nothing grows without bound.
func TestTable_History(t *testing.T) {
	var table claim.Table
	hear := func(at int, text string) {
		var f can.Frame
		require.NoError(t, f.UnmarshalString(text))
		f.Time = clock.Instant(at)
		table.Hear(&f)
	}
	hear(1, "18FEEE00#FFFFFFFFFFFFFFFF")
	hear(2, "18EEFF80#0200000000000000")
	hear(3, "18EEFF80#0300000000000000") // higher: the holder will object
	hear(4, "18EEFF80#0100000000000000")
	hear(5, "18EEFF81#0200000000000000")
	hear(6, "18EEFFFE#0100000000000000")
	var lines []string
	for _, m := range table.Members() {
		lines = append(lines, strings.TrimSpace(m.NAME.String()))
	}
	require.Equal(t, []string{"0000000000000000", "0000000000000002"}, lines)
	m, ok := table.At(0)
	require.True(t, ok)
	require.False(t, m.Named)
	changes, dropped := table.Changes()
	require.Zero(t, dropped)
	require.Equal(t, []claim.Change{
		{At: 2, NAME: 2, From: 254, To: 0x80},
		{At: 4, NAME: 2, From: 0x80, To: 254, Against: 1},
		{At: 4, NAME: 1, From: 254, To: 0x80, Against: 2},
		{At: 5, NAME: 2, From: 254, To: 0x81},
		{At: 6, NAME: 1, From: 0x80, To: 254},
	}, changes)
	for n := range 5000 {
		table.Enter(uint8(n%250), name.NAME(n+10), clock.Instant(n))
	}
	changes, dropped = table.Changes()
	require.LessOrEqual(t, len(changes), 1024)
	require.Positive(t, dropped)
}

func FuzzNode(f *testing.F) {
	f.Add([]byte{0xEE, 0x80, 8, 1, 0, 0, 0, 0, 0, 0, 0, 0xEA, 0x80, 3, 0, 0xEE, 0, 0, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, script []byte) {
		m := newMember(highMoving, 0x80)
		out := m.Step(0, nil, nil)
		now := clock.Instant(0)
		for ; len(script) >= 11; script = script[11:] {
			fr := can.Frame{Frame: einride.Frame{IsExtended: true, Length: script[2] & 15,
				ID: 0x1800FF00 | uint32(script[0])<<16 | uint32(script[1])}}
			copy(fr.Data[:], script[3:])
			now = now.Add(time.Duration(script[2]>>4) * 20 * time.Millisecond)
			fr.Time = now
			out = m.Step(now, []can.Frame{fr}, out[:0])
			if len(out) > 2 {
				t.Fatalf("%d frames for one", len(out))
			}
			if m.Next() <= now {
				t.Fatalf("stepped to %d, wants %d", now, m.Next())
			}
		}
	})
}
