// Package lockstep is a CAN bus to a simulated bench that waits for the harness: lockstep:PATH. Like unixbus
// it lies between two processes of one computer, but time is granted step by step instead of taken from a
// clock. So a bench and unit simulated by anybody, in any language, run a whole release test as fast as the
// computer can, and the same inputs give the same bytes. testdata/lockstep-bench/bench.py is an example to
// copy.
//
// # Who connects
//
// The simulation (the peer) listens on a unix stream socket (unix(7), SOCK_STREAM) at PATH; the harness
// connects. One connection is one run. A campaign makes one connection per run, several at once when it has
// several jobs; the peer serves them side by side or one after the other (those that wait stand in the
// listen queue), with one process for all runs or a fresh one for each.
//
// # Messages
//
// All numbers are little endian, all times signed nanoseconds since 1970-01-01T00:00:00Z. Every message is a
// head of 24 bytes and n items:
//
//	head   0 kind (ASCII letter) | 1..3 zero | 4..7 n | 8..15 a | 16..23 b
//	item   of G and R, a frame of 24 bytes: 0..3 identifier and flags | 4 length | 5..7 zero | 8..15 data |
//	       16..23 time. Identifier and flags as in Linux include/uapi/linux/can.h: bit 31 extended
//	       (29 bits), bit 30 remote. Data bytes beyond the length are zero.
//	       of all others, a byte of UTF-8 text.
//
//	kind             from      a             b              items
//	H  hello         harness   start time    1, the version key=value lines: what is asked for
//	W  welcome       peer      start time    1, the version key=value lines: what it simulates
//	G  grant         harness   until         at least       frames that the harness sends
//	R  reached       peer      time reached  0              frames that the peer has sent
//	E  end           harness   time          1: wants T     JSON about the run when T is wanted, else none
//	T  truth         peer      time          0              JSON: what was really there; none if it has none
//	X  refused       peer      0             0              the reason, for a person
//
// The order is H, W, then G and R in turn, then E, then T if it was wanted; then both close. X may stand in
// place of W, R or T and ends the connection. A connection that ends without E is a harness that was killed:
// the peer forgets that run.
//
// # Hello
//
// Lines end with LF; a key may be repeated. All keys are optional:
//
//	seed=7                         everything that is drawn at random
//	fault=membrane-split=0.6       a fault of the unit, severity 0..1
//	unit=bare or unit=controller   without or with a J1939 controller of its own
//	set=KEY=VALUE                  anything else that this peer knows: type, spread, temperatures
//
// A peer answers X to a key, a fault or a value that it does not know: no record may state what was not
// simulated. What is not asked for is up to the peer. Its welcome says who it is (name=...) and repeats
// seed, faults, unit and settings as they are in force; the harness keeps them in the record.
//
// # Time
//
// Both begin at the start time. A grant lets the peer go on from where it stands (its last R, or the start).
// The frames of a grant are on the bus at that time, before anything else happens. The peer runs on, keeps
// the frames that it sends, and stops
//
//   - at until, always; or
//   - earlier, at or after "at least", if it has sent a frame in this grant.
//
// Then it answers with the time it has reached and its frames in order, each with the time of its last bit,
// not before the previous frame nor after the time reached. Everything up to and including that time has
// happened. "At least" is at most 20 ms (one command cycle of the harness) and until at most 1 s after where
// the peer stands; both are later than that, and until is not before "at least". A peer that computes in
// ticks of 10 ms runs ticks as long as the next one is not after until, and stops after the first tick at or
// after "at least" that leaves it with a frame.
//
// # Limits
//
// A grant and its answer have at most 4096 frames each, hello, welcome and refusal 65536 bytes, end 1 MiB
// and truth 4 MiB. The harness waits at most 60 s of real time for a welcome (a peer may be busy with
// another run) and for the truth, and 10 s for the answer to a grant. Whatever breaks these rules ends the
// connection; the harness says what it was and its run ends as one with a lost bus. A peer of another user
// of the computer is refused.
//
// What it does not do: arbitration, wire time (the peer's frames say when they were on the wire),
// acknowledgement, error frames, CAN FD, several listeners.
package lockstep

// Prefix marks the name of such a bus on the command line: lockstep:PATH.
const Prefix = "lockstep:"

// Version is that of the protocol, in hello and welcome.
const Version = 1
