package main

import (
	"encoding/json"
	"fmt"
	"os"
	"time"

	"holdfast/j1939/clock"
	"holdfast/sim"
)

// pressureEvery is how often the log of a simulated bench has the line's pressure while there is any.
const pressureEvery = 100 * time.Millisecond

// outputLine is one line of the log: what the outputs do from a time on, or the pressure at a time.
type outputLine struct {
	Time        time.Time `json:"time"`
	UnixNS      int64     `json:"unix_ns"` // the same, to the nanosecond of the bus's time
	Why         sim.Why   `json:"why"`     // command, silence, stop, unit; pressure: nothing changed
	Driven      bool      `json:"driven"`  // an output is on that moves, heats or meters
	PressureBar float64   `json:"pressure_bar"`
	LastCommand int64     `json:"last_command_unix_ns,omitempty"`
	Outputs     *driven   `json:"outputs,omitempty"`
}

type driven struct {
	PumpDrive     float64 `json:"pump_drive"`  // 0..1
	DosingDuty    float64 `json:"dosing_duty"` // 0..1
	ReturnValve   bool    `json:"return_valve"`
	ReturnShutoff bool    `json:"return_shutoff"`
	Heater        bool    `json:"heater"`
	UnitPower     bool    `json:"unit_power"`
	Vent          bool    `json:"vent"`
}

// outputLog writes what a simulated bench does to a file, line by line as it happens, so that a person or
// a test sees it from outside the process that commands.
type outputLog struct {
	file   *os.File
	begun  clock.Instant
	ms     int64 // since begun
	driven bool
	failed error // the first that could not be written
}

// observe has a bench that begins at o.Start tell this log.
func (l *outputLog) observe(o *sim.Options) {
	l.begun = o.Start
	o.Changed, o.Watch = l.changed, l.watch
}

func (l *outputLog) changed(c *sim.Change) {
	l.driven = c.Driven()
	out := c.Outputs
	l.write(c.At, outputLine{Why: c.Why, Driven: l.driven, PressureBar: c.Pressure, LastCommand: int64(c.Heard),
		Outputs: &driven{PumpDrive: out.Drive, DosingDuty: out.Duty, ReturnValve: out.Valve,
			ReturnShutoff: out.Shutoff, Heater: out.Heater, UnitPower: out.Power, Vent: out.Vent}})
}

// watch is called for every millisecond of the bench.
func (l *outputLog) watch(m *sim.Moment) {
	l.ms++
	if at := time.Duration(l.ms) * time.Millisecond; at%pressureEvery == 0 && (l.driven || m.Pressure > 0.05) {
		l.write(l.begun.Add(at), outputLine{Why: "pressure", Driven: l.driven, PressureBar: m.Pressure})
	}
}

func (l *outputLog) write(at clock.Instant, line outputLine) {
	line.Time, line.UnixNS = at.Time(), int64(at)
	text, err := json.Marshal(line)
	if err == nil {
		_, err = l.file.Write(append(text, '\n'))
	}
	if err != nil && l.failed == nil {
		l.failed = fmt.Errorf("write what the outputs do: %w", err)
	}
}
