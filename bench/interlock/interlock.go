// Package interlock is the supervisor of a run: it hears every reading, knows the rig's limits
// and what was sent to the node, and says when the run must end. It is pure (time is a parameter), it latches (the first trip
// stands until a new run), and it knows no step and no plan: nothing that a person writes in a
// scenario can loosen it. A scenario may tighten the pressure limit (Tighten).
//
// It moves nothing: the engine sends the safe state when Check answers.
package interlock

import (
	"fmt"
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// StaleFloor is the least age at which a channel counts as stale or the node as silent, whatever
// its rate: the node's own safe-state time-out of the shipped bench. With a lower limit, a computer
// that schedules us late would look like a broken bench.
const StaleFloor = 200 * time.Millisecond

// VehicleListen is how long a bus is listened to before anything is sent on it: the parameters and
// claims by which a vehicle shows itself are repeated within a second (SAE J1939-71).
const VehicleListen = 1100 * time.Millisecond

// Supervisor watches one run. It is not safe for use by two goroutines.
type Supervisor struct {
	guard    rig.Guard
	channels [rig.NumChannels]*rig.Instrument
	last     [rig.NumChannels]rig.Reading // the last reading, valid or not
	valid    [rig.NumChannels]rig.Reading // the last valid one
	riseFrom [rig.NumChannels]rig.Reading // where the rate of rise is taken from
	relied   [rig.NumChannels]bool
	since    [rig.NumChannels]clock.Instant // when it began to be relied on
	armed    bool                           // outputs are meant to follow commands
	node     clock.Instant                  // last frame from the bench node
	trip     *Trip

	cycleLimit time.Duration // how late a command cycle may begin
	sent       clock.Instant // the last command that found room in the transmit queue
	lost       uint64        // frames that the port has lost, and when it last said so
	lostAt     clock.Instant
	gap        [rig.NumChannels]time.Duration // the last pause in a relied channel, and its end
	gapEnd     [rig.NumChannels]clock.Instant

	// Alive: what repeats itself (alive.go).
	noise          [rig.NumChannels]noise
	gauges         [rig.NumChannels]gauge
	messages       [rig.NumChannels]*message
	regulated      bool // the pressure is being regulated, and since when
	regulatedSince clock.Instant

	// Counted: what the node says of itself (counters.go).
	counters     [rig.NumChannels]counted
	counterEvery [rig.NumChannels]time.Duration
	lateEchoes   int // in a row

	// Obeyed: what does not follow its command (obey.go).
	bare           bool // the bench drives the unit
	hasCommand     [rig.NumCommands]bool
	commanded      rig.Outputs
	commandedSince [rig.NumCommands]clock.Instant
	turns          clock.Instant // since when the pump is asked to turn; 0: it is not
	coast          rig.Reading   // speed of a pump that is commanded off, half a second ago or less
	slows          bool          // it has lost speed since
	coilSeen       bool          // the return valve's coil has carried current
	disobeys       [numDisobediences]disobedience

	// Possible: what cannot be true (plausible.go).
	atmosphere        [2]float64 // bar absolute, lowest and highest
	atmosphereWhy     string
	barometer         float64 // the first reading, bar absolute; 0: none yet
	doubted           [rig.NumChannels]bool
	missing           [rig.NumChannels]missing
	ours, nodeAddress uint8
	nodeName          uint64 // of the bench node, once it has claimed its address
}

// Trip is the reason why a run must end. Bench says that the bench or the bus failed rather
// than the unit under test; Deaf says that what is sent does not reach the bench.
type Trip struct {
	Time        clock.Instant
	Name        string // over-pressure, stale-data, emergency-stop, lost-bus, ...
	Reading     string // with unit
	Limit       string // with unit
	Next        string // what a person does now
	Bench, Deaf bool
}

// New returns a supervisor for a rig. started is the beginning of the run: nothing can be stale before.
func New(r *rig.Rig, started clock.Instant) *Supervisor {
	s := &Supervisor{guard: r.Guard, channels: r.Channels, node: started, cycleLimit: r.NodeTimeout - 2*r.Cycle,
		bare: r.Kind == rig.Bare, ours: r.Source, nodeAddress: r.Node}
	s.guard.MaxPressure = r.TripPressure()
	s.atmosphere[0], s.atmosphere[1], s.atmosphereWhy = r.Atmosphere()
	_, s.messages = messagesOf(r)
	for _, c := range r.Counters {
		s.counterEvery[c.Channel] = c.Every
	}
	for c := range r.Commands {
		s.hasCommand[c] = r.Commands[c] != nil
	}
	return s
}

// Tighten lowers the pressure limit to max (bar gauge). A higher value, or 0, changes nothing.
func (s *Supervisor) Tighten(max float64) {
	if max > 0 && max < s.guard.MaxPressure {
		s.guard.MaxPressure = max
	}
}

// Rely says which channels are needed from now on: they must be fresh and valid.
// For channels already relied on, the time since which they are needed stays.
func (s *Supervisor) Rely(now clock.Instant, channels ...rig.Channel) {
	var want [rig.NumChannels]bool
	for _, c := range channels {
		want[c] = true
	}
	for c := range want {
		if want[c] && !s.relied[c] {
			s.since[c], s.missing[c] = now, missing{}
		}
	}
	s.relied = want
}

// Arm says that the node is meant to follow commands from now on (or no longer).
func (s *Supervisor) Arm(on bool) { s.armed = on }

// NodeHeard notes that the bench node has sent a frame.
func (s *Supervisor) NodeHeard(now clock.Instant) { s.node = now }

// Tripped returns the latched trip, or nil.
func (s *Supervisor) Tripped() *Trip { return s.trip }

// Hear takes one reading and checks immediately whatever cannot wait for the next cycle.
func (s *Supervisor) Hear(r rig.Reading) {
	s.noteGap(r)
	before := s.last[r.Channel]
	s.last[r.Channel] = r
	if r.Status == spn.Valid {
		s.valid[r.Channel] = r
		s.checkValue(r)
		s.checkPossible(r)
	}
	s.checkSwitch(r)
	s.checkAlive(before, r)
	s.counters[r.Channel].heard++
	s.checkMissing(r)
	s.checkObeys(r)
}

// Check is called once a cycle: it finds what is missing rather than what is wrong.
func (s *Supervisor) Check(now clock.Instant) *Trip {
	if s.trip == nil {
		s.checkSilence(now)
	}
	if s.trip == nil {
		s.checkLost(now)
	}
	if s.trip == nil {
		s.checkRelied(now)
	}
	return s.trip
}

// Bus latches a failure of the bus itself.
func (s *Supervisor) Bus(now clock.Instant, err error) {
	s.latch(Trip{Bench: true, Deaf: true, Time: now, Name: "lost-bus", Reading: err.Error(),
		Limit: "an interface that is up",
		Next:  "check the adapter, its cable and power, then the bit rate; start again"})
}

// Journal latches a record that cannot be written: a run that leaves no record is not run.
func (s *Supervisor) Journal(now clock.Instant, err error) {
	s.latch(Trip{Bench: true, Time: now, Name: "journal-not-writable", Reading: err.Error(),
		Limit: "every sample kept",
		Next:  "make room on the disk or choose another folder with --out; start again"})
}

// SecondCommander latches a trip because another node sends the harness's own command message.
func (s *Supervisor) SecondCommander(now clock.Instant, id uint32) {
	s.latch(Trip{Bench: true, Time: now, Name: "second-commander",
		Reading: fmt.Sprintf("command message %08X heard", id), Limit: "nobody else commands this bench",
		Next: "end the other program or unplug the other node; start again"})
}

func (s *Supervisor) latch(t Trip) {
	if s.trip == nil {
		s.trip = &t
	}
}
