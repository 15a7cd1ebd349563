package claim

import (
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/name"
)

// Member is what is known about one address.
type Member struct {
	Address   uint8
	NAME      name.NAME
	Named     bool          // NAME was heard; false: only its messages were
	Since     clock.Instant // when the NAME took the address, or the first message
	LastHeard clock.Instant // of any message from the address
	Messages  uint64
}

// Change is one step in the history of the bus.
type Change struct {
	At      clock.Instant
	NAME    name.NAME
	From    uint8 // 254: it had none
	To      uint8 // 254: it cannot claim, or was displaced
	Against name.NAME
}

// historyMax bounds the history; the oldest changes go first.
const historyMax = 1024

// Table holds who is on the bus: the NAME at each address, over time. The zero value is empty and ready.
type Table struct {
	members [256]*Member
	changes []Change
	dropped uint64
}

// Hear takes every frame of the bus.
func (t *Table) Hear(f *can.Frame) {
	if !f.IsExtended || f.IsRemote || f.Error {
		return
	}
	number := id.ID(f.ID)
	source := number.Source()
	if n, ok := name.Decode(f.Data[:min(f.Length, 8)]); ok && number.PGN() == PGNClaimed {
		t.hearClaim(source, n, f.Time)
	}
	if source >= id.Null {
		return
	}
	m := t.members[source]
	if m == nil {
		m = &Member{Address: source, Since: f.Time}
		t.members[source] = m
	}
	m.LastHeard = f.Time
	m.Messages++
}

// hearClaim: a higher NAME does not displace a lower one; the lower will object.
func (t *Table) hearClaim(source uint8, n name.NAME, at clock.Instant) {
	if source == id.Null {
		t.Leave(n, at)
		return
	}
	if m := t.members[source]; m != nil && m.Named && m.NAME < n {
		return
	}
	t.Enter(source, n, at)
}

// Enter notes that a NAME holds an address.
func (t *Table) Enter(address uint8, n name.NAME, at clock.Instant) {
	m := t.members[address]
	if m != nil && m.Named && m.NAME == n {
		return
	}
	change := Change{At: at, NAME: n, From: id.Null, To: address}
	if old, ok := t.Find(n); ok {
		change.From = old
		t.members[old] = nil
	}
	if m == nil {
		m = &Member{Address: address}
		t.members[address] = m
	} else if m.Named {
		change.Against = m.NAME
		t.note(Change{At: at, NAME: m.NAME, From: address, To: id.Null, Against: n})
	}
	m.NAME, m.Named, m.Since = n, true, at
	t.note(change)
}

// Leave notes that a NAME has no address.
func (t *Table) Leave(n name.NAME, at clock.Instant) {
	if address, ok := t.Find(n); ok {
		t.members[address] = nil
		t.note(Change{At: at, NAME: n, From: address, To: id.Null})
	}
}

func (t *Table) note(c Change) {
	if len(t.changes) == historyMax {
		t.changes = append(t.changes[:0], t.changes[1:]...)
		t.dropped++
	}
	t.changes = append(t.changes, c)
}

// Find returns the address of a NAME.
func (t *Table) Find(n name.NAME) (uint8, bool) {
	for a, m := range t.members {
		if m != nil && m.Named && m.NAME == n {
			return uint8(a), true
		}
	}
	return id.Null, false
}

// Taken says whether anyone other than the named node was heard from the address.
func (t *Table) Taken(address uint8, but name.NAME) bool {
	m := t.members[address]
	return m != nil && !(m.Named && m.NAME == but)
}

// At returns what is known about an address.
func (t *Table) At(address uint8) (Member, bool) {
	if m := t.members[address]; m != nil {
		return *m, true
	}
	return Member{Address: address}, false
}

// Members returns everyone that was heard, in order of address.
func (t *Table) Members() (all []Member) {
	for _, m := range t.members {
		if m != nil {
			all = append(all, *m)
		}
	}
	return all
}

// Changes returns the history, oldest first; dropped is the number of older changes that were discarded.
func (t *Table) Changes() (all []Change, dropped uint64) { return t.changes, t.dropped }
