package claim

import (
	"fmt"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/name"
)

// PGNs of network management.
const (
	PGNClaimed   uint32 = 60928 // address claimed; from address 254: cannot claim
	PGNRequest   uint32 = 59904
	PGNCommanded uint32 = 65240 // NAME and new address, 9 bytes, by the transport protocol
)

// Timers and ranges.
const (
	Objection         = 250 * time.Millisecond // an address is ours when nobody objects for so long
	CannotClaimDelay  = 153 * time.Millisecond // longest delay before cannot claim (from memory)
	FirstArbitrary    = 128
	LastArbitrary     = 247
	claimPriority     = 6
	commandedLength   = 9
	cannotClaimSource = id.Null
)

// State of a node's address.
type State uint8

const (
	Idle     State = iota // Start was not called
	Claiming              // the claim is out; nobody has objected yet
	Claimed               // the address is ours
	Lost                  // cannot claim: the node may send requests for address claimed and nothing else
)

var stateNames = [...]string{"idle", "claiming", "claimed", "cannot claim"}

func (s State) String() string { return stateNames[s] }

// Options of a Node.
type Options struct {
	NAME      name.NAME
	Preferred uint8 // 0..253
	// Seed spreads the delay before cannot claim, so that two losers do not answer at one time.
	Seed uint32
}

// Node claims and keeps one address.
type Node struct {
	options Options
	state   State
	address uint8
	table   *Table
	due     clock.Instant // end of the objection time, or when cannot claim is to be sent
	owed    bool          // a cannot claim is to be sent
	moves   int           // addresses tried since the start
	why     string        // why it was lost
}

// NewNode returns a node that has no address yet. It looks for free addresses in table, which is kept by
// the caller (Table.Hear for every frame, before the node hears it).
func NewNode(o Options, table *Table) *Node {
	if o.Preferred >= id.Null {
		panic(fmt.Sprintf("claim: %d is no address a node can have", o.Preferred))
	}
	return &Node{options: o, address: id.Null, table: table, due: clock.Never}
}

// Prefer sets another preferred address, 0 to 253, for the next Start.
func (n *Node) Prefer(address uint8) {
	if address >= id.Null {
		panic(fmt.Sprintf("claim: %d is no address a node can have", address))
	}
	n.options.Preferred = address
}

// State is the state of the claim.
func (n *Node) State() State { return n.state }

// Address is the claimed address; 254 unless the state is Claimed.
func (n *Node) Address() uint8 {
	if n.state != Claimed {
		return id.Null
	}
	return n.address
}

// Why says why no address could be claimed; empty unless the state is Lost.
func (n *Node) Why() string { return n.why }

// Next is when Step must be called even if nothing was heard.
func (n *Node) Next() clock.Instant { return n.due }

// Start claims the preferred address.
func (n *Node) Start(now clock.Instant, out []einride.Frame) []einride.Frame {
	n.moves = 0
	return n.claim(n.options.Preferred, now, out)
}

func (n *Node) claim(address uint8, now clock.Instant, out []einride.Frame) []einride.Frame {
	n.state, n.address, n.owed, n.why = Claiming, address, false, ""
	n.due = now.Add(Objection)
	return append(out, n.claimFrame(address))
}

func (n *Node) claimFrame(source uint8) einride.Frame {
	return einride.Frame{ID: uint32(id.Must(claimPriority, PGNClaimed, id.Global, source)), IsExtended: true,
		Length: name.Length, Data: n.options.NAME.Bytes()}
}

// Step handles what was heard since the last step and moves the node's time to now.
func (n *Node) Step(now clock.Instant, heard []can.Frame, out []einride.Frame) []einride.Frame {
	if n.state == Idle {
		return out
	}
	for i := range heard {
		f := &heard[i]
		if !f.IsExtended || f.IsRemote || f.Error {
			continue
		}
		switch number := id.ID(f.ID); number.PGN() {
		case PGNClaimed:
			out = n.hearClaim(number.Source(), f, now, out)
		case PGNRequest:
			out = n.hearRequest(number, f, now, out)
		}
	}
	if now < n.due {
		return out
	}
	n.due = clock.Never
	if n.state == Claiming {
		n.state, n.moves = Claimed, 0
		n.table.Enter(n.address, n.options.NAME, now)
	}
	if n.owed {
		n.owed = false
		out = append(out, n.claimFrame(cannotClaimSource))
	}
	return out
}

// hearClaim settles a contest for our address.
func (n *Node) hearClaim(source uint8, f *can.Frame, now clock.Instant, out []einride.Frame) []einride.Frame {
	theirs, ok := name.Decode(f.Data[:min(f.Length, 8)])
	if !ok || source != n.address || n.state == Lost {
		return out
	}
	switch {
	case n.options.NAME < theirs:
		n.table.Enter(n.address, n.options.NAME, now) // they are to move
		return append(out, n.claimFrame(n.address))
	case n.options.NAME == theirs:
		return n.lose(fmt.Sprintf("another node on the bus has the same NAME %v", theirs), now, out)
	}
	if !n.options.NAME.Arbitrary() {
		return n.lose(fmt.Sprintf("address %d is held by NAME %v, which is lower than ours, %v, "+
			"and ours may not move",
			n.address, theirs, n.options.NAME), now, out)
	}
	free, ok := n.free()
	if !ok {
		return n.lose("every arbitrary address (128 to 247) is taken", now, out)
	}
	return n.claim(free, now, out)
}

// free finds the next address to try: one nobody was heard from, above the preferred one or from 128.
func (n *Node) free() (uint8, bool) {
	const many = LastArbitrary - FirstArbitrary + 1
	begin := 0
	if p := int(n.options.Preferred); p >= FirstArbitrary && p <= LastArbitrary {
		begin = p - FirstArbitrary + 1
	}
	for ; n.moves < many; n.moves++ {
		address := uint8(FirstArbitrary + (begin+n.moves)%many)
		if address != n.address && !n.table.Taken(address, n.options.NAME) {
			n.moves++
			return address, true
		}
	}
	return 0, false
}

func (n *Node) lose(why string, now clock.Instant, out []einride.Frame) []einride.Frame {
	n.state, n.why, n.address = Lost, why, id.Null
	return n.owe(now, out)
}

// owe plans a cannot claim after a delay that differs from node to node.
func (n *Node) owe(now clock.Instant, out []einride.Frame) []einride.Frame {
	if !n.owed {
		n.options.Seed = n.options.Seed*1664525 + 1013904223 // from Numerical Recipes: any spread will do
		n.owed = true
		n.due = now.Add(time.Duration(n.options.Seed>>8) % CannotClaimDelay)
		if n.due <= now {
			n.due = now + 1
		}
	}
	return out
}

// hearRequest answers a request for address claimed.
func (n *Node) hearRequest(number id.ID, f *can.Frame, now clock.Instant,
	out []einride.Frame) []einride.Frame {
	if f.Length < 3 || id.PGNOf(f.Data[:]) != PGNClaimed {
		return out
	}
	if to := number.Destination(); to != id.Global && (n.state == Lost || to != n.address) {
		return out
	}
	if n.state == Lost {
		return n.owe(now, out)
	}
	return append(out, n.claimFrame(n.address))
}

// Command takes the data of a commanded address message (PGN 65240). It moves the node when the NAME is ours.
func (n *Node) Command(data []byte, now clock.Instant, out []einride.Frame) []einride.Frame {
	theirs, ok := name.Decode(data)
	if !ok || len(data) < commandedLength || theirs != n.options.NAME || n.state == Idle {
		return out
	}
	address := data[commandedLength-1]
	if address >= id.Null || n.state == Claimed && address == n.address {
		return out
	}
	n.table.Leave(n.options.NAME, now)
	return n.claim(address, now, out)
}
