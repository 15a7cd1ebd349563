// Package rig describes a bench: which CAN signal is which channel or command, how good each
// instrument is and until when its calibration holds, what the safe state is and within which
// limits the bench may move. A Rig changes bytes of frames into readings (Decoder) and outputs into frames
// (Encoder); rigfile reads one from the file that a person writes.
//
// It judges nothing and keeps no history.
package rig

import (
	"time"

	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// Kind says whether the unit under test has its own J1939 controller.
type Kind uint8

const (
	Bare       Kind = iota // the bench's I/O node drives the unit's pump, valves and heater
	Controller             // the unit has its own J1939 controller
)

// Rig is one checked rig file.
type Rig struct {
	Name, Title string
	Path        string // where it was read, for messages; "shipped" for an embedded one
	Text        []byte // the file itself: kept in the record of every run
	DBC         []byte // the message database it names; nil when none
	Kind        Kind
	Channels    [NumChannels]*Instrument // nil: this bench has no such channel
	Commands    [NumCommands]*Actuator   // nil: this bench has no such command
	Source      uint8                    // our source address on the bus
	Node        uint8                    // the bench node's source address
	Others      []OtherSender            // who else may send on this bus
	Cycle       time.Duration            // command cycle, 20 ms
	NodeTimeout time.Duration            // the node takes its safe state after so long without a command
	Safe        Outputs                  // the safe state
	Guard       Guard
	Regulator   Regulator
	Fluid       Fluid
	Dosing      DosingValve
	LineVolume  Estimate      // liquid held by the line between directional valve and dosing valve, mL
	StrokeVol   float64       // pump stroke volume, mL; 0 when unknown
	CheckValve  Estimate      // opening pressure of the return check valve, bar
	VerifyEvery time.Duration // a pass needs a check with a golden unit no older than this; 0: no demand
	Barometer   Estimate      // typed in, bar absolute: used when no ambient_pressure channel is mapped; 0: none
	Altitude    *Altitude     // where the bench stands; nil: not stated
	Relief      *Relief       // what lets pressure go without the harness; nil: not stated

	Alive    *Signal   // counter in a command message; nil when it has none
	Counters []Counter // of the node: which of its messages are read anew; none when it sends none
	Echo     *Signal   // the counter of the last command that the node has taken over; nil when it sends none
}

// Estimate is a value with its expanded uncertainty (k = 2) in the same unit.
type Estimate struct{ Value, U float64 }

// Instrument is how one channel is measured.
type Instrument struct {
	Channel    Channel
	Every      time.Duration // expected interval between readings
	Resolution float64       // one step of the signal, in the channel's unit
	Accuracy   Accuracy
	Calibrated time.Time // zero when the channel is a state or part of the unit
	Due        time.Time // the last day on which the calibration holds
	PartOfUnit bool      // the unit's own sensor: under test, not an instrument of the bench
	Signal     Signal
}

// Accuracy is an instrument's stated error, expanded (k = 2): the sum of the three parts.
type Accuracy struct {
	OfReading float64 // % of the reading
	OfSpan    float64 // % of Span
	Span      float64 // in the channel's unit
	Absolute  float64 // in the channel's unit
}

// At returns the expanded uncertainty (k = 2) at a reading, in the channel's unit.
func (a Accuracy) At(reading float64) float64 {
	if reading < 0 {
		reading = -reading
	}
	return a.OfReading/100*reading + a.OfSpan/100*a.Span + a.Absolute
}

// Actuator is how one command is sent. Min and Max bound what may be sent.
type Actuator struct {
	Command  Command
	Min, Max float64 // in the command's unit
	Signal   Signal
}

// Guard holds the limits the interlock watches, whatever the scenario. A scenario may
// tighten them and never loosen them.
type Guard struct {
	MaxPressure     float64 // bar gauge, on any pressure channel
	MaxPressureRise float64 // bar/s; 0: not watched
	MaxCurrent      float64 // pump, A; 0: not watched
	MinVoltage      float64 // supply, V; 0: not watched
	MaxTemperature  float64 // fluid, °C; 0: not watched
	StaleAfter      int     // a channel is stale after so many of its expected intervals
}

// Regulator is the pressure loop that the harness closes on a bare unit: drive = P + I.
type Regulator struct {
	Gain      float64       // % drive per bar
	Reset     time.Duration // integral (reset) time
	MaxDrive  float64       // %
	MaxSlew   float64       // % per second, up and down, while a pressure is regulated; 0: not limited
	FeedDrive float64       // % at nominal: where the integral starts
}

// Fluid is the test fluid.
type Fluid uint8

const (
	DEF   Fluid = iota // AUS 32, ISO 22241
	Water              // bench fluid
)

// DosingValve is the valve's stated transfer: flow is proportional to duty but for a time
// lost at each opening. Q = FullFlow * sqrt(p/AtPressure) * (duty - Lost*Frequency).
type DosingValve struct {
	FullFlow   float64       // g/min, fully open
	AtPressure float64       // bar gauge at which FullFlow was taken
	Frequency  float64       // Hz
	Lost       time.Duration // per opening
}

// Reading is one value of one channel.
type Reading struct {
	Time    clock.Instant
	Value   float64 // in the channel's unit; meaningful only when Status is Valid
	Channel Channel
	Status  spn.Status
}
