// Package rigfile reads a rig from the YAML file that a person writes and the DBC file it names. Everything wrong
// in them is reported at once, each at its line and column.
package rigfile

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

// Format is the first key of a rig file and its value.
const Format = "rig/1"

// Bounds of what a rig file may state.
const (
	longestCycle   = 100 * time.Millisecond
	longestTimeout = time.Second // a node that goes on for longer without its master is no safe node
	highestGuard   = 40.0        // bar gauge; the circuit is built for about 9
	coolestGuard   = 20.0        // °C; below, a warm shop alone would trip it
	hottestGuard   = 90.0        // °C; DEF gives off ammonia from about 60 °C (ISO 22241-3 keeps it below 30 °C)
)

// Parse reads a rig file. dbc returns the message database that the file names. Everything
// wrong is returned at once as yamltext.Problems, each at its line and column.
func Parse(path string, text []byte, dbc func(name string) ([]byte, error)) (*rig.Rig, error) {
	return parse(path, text, dbc, false)
}

// ParseKept reads the rig file that a record holds, which an older version accepted: what is refused today only
// because it has no effect is passed over, so that the record can still be judged.
func ParseKept(path string, text []byte, dbc func(name string) ([]byte, error)) (*rig.Rig, error) {
	return parse(path, text, dbc, true)
}

func parse(path string, text []byte, dbc func(name string) ([]byte, error), kept bool) (*rig.Rig, error) {
	reader, root := yamltext.Read(path, text)
	if root == nil {
		return nil, reader.Problems().Err()
	}
	p := &parsing{Reader: reader, kept: kept, rig: &rig.Rig{Path: path, Text: text}}
	p.file(reader.Fields(root, "a rig"), dbc)
	if err := reader.Problems().Err(); err != nil {
		return nil, err
	}
	return p.rig, nil
}

// parsing is one rig file on its way to a Rig.
type parsing struct {
	*yamltext.Reader
	rig     *rig.Rig
	kept    bool      // the file is that of a record
	db      *database // nil: none named, or unreadable
	dbNamed bool
	sender  bool // our_address was read, and no command has been found to contradict it
}

var nameForm = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

func (p *parsing) file(f *yamltext.Fields, dbc func(string) ([]byte, error)) {
	f.Word("holdfast", Format)
	p.heading(f)
	p.database(f, dbc)
	p.addresses(f)
	p.otherSenders(f)
	p.timing(f)
	p.guard(f)
	p.place(f)
	p.relief(f)
	p.channels(f)
	p.commands(f)
	p.alive(f)
	p.counters(f)
	p.hydraulics(f)
	p.verifyEvery(f)
	p.required(f)
	f.Done()
}

func (p *parsing) heading(f *yamltext.Fields) {
	p.rig.Name = f.String("name", "bench-node")
	if n := f.Get("name"); n != nil && p.rig.Name != "" && !nameForm.MatchString(p.rig.Name) {
		p.Add(n, fmt.Sprintf("name: %q", yamltext.Clip(p.rig.Name)),
			"write small letters, digits and hyphens, at most 40")
	}
	p.rig.Title = f.StringOr("title", p.rig.Name)
	if f.Word("unit", "bare", "controller") == 1 {
		p.rig.Kind = rig.Controller
	}
	if f.Word("fluid", "DEF", "water") == 1 {
		p.rig.Fluid = rig.Water
	}
}

func (p *parsing) database(f *yamltext.Fields, dbc func(string) ([]byte, error)) {
	n := f.Get("messages")
	if n == nil {
		return
	}
	name := f.StringOr("messages", "")
	if name == "" {
		return
	}
	p.dbNamed = true
	text, err := dbc(name)
	if err != nil {
		p.Add(n, fmt.Sprintf("messages: %s", err), "name a DBC file beside this one")
		return
	}
	db, err := readDatabase(name, text)
	if err != nil {
		p.Add(n, "messages: "+err.Error(), "")
		return
	}
	p.db, p.rig.DBC = db, text
}

// lastAddress is the last that a node can have: 254 is the null address, 255 global (SAE J1939-81).
const lastAddress = 253

func (p *parsing) addresses(f *yamltext.Fields) {
	ours, okOurs := f.Whole("our_address", 0, lastAddress, "0xF9")
	node, okNode := f.Whole("node_address", 0, lastAddress, "0xC8")
	p.rig.Source, p.rig.Node, p.sender = uint8(ours), uint8(node), okOurs
	if okOurs && okNode && ours == node {
		p.Add(f.Get("node_address"), fmt.Sprintf("node_address: %d, the same as our_address", node),
			"two nodes need two addresses")
	}
}

func (p *parsing) timing(f *yamltext.Fields) {
	p.rig.Cycle = f.Duration("cycle", longestCycle, "20 ms")
	p.rig.NodeTimeout = f.Duration("node_timeout", longestTimeout,
		"200 ms   # after so long without a command the node takes its safe state; it covers a harness that dies")
	if c, t := p.rig.Cycle, p.rig.NodeTimeout; c > 0 && t > 0 && t < 3*c {
		p.Add(f.Get("node_timeout"), fmt.Sprintf("node_timeout: %s with a cycle of %s", t, c),
			"it must be at least three cycles, so that one lost frame stops nothing")
	}
	if c := p.rig.Cycle; c > 0 && c < 5*time.Millisecond {
		p.Add(f.Get("cycle"), fmt.Sprintf("cycle: %s", c), "it must be 5 ms to 100 ms")
	}
}

func (p *parsing) guard(f *yamltext.Fields) {
	n := f.Need("guard", "{max_pressure: 12 bar, stale_after: 5 intervals}")
	if n == nil {
		return
	}
	g := p.Fields(n, "guard")
	p.rig.Guard.MaxPressure, _ = g.Quantity("max_pressure", unit.Pressure,
		yamltext.Range{Min: math.SmallestNonzeroFloat64, Max: highestGuard}, "12 bar")
	p.rig.Guard.MaxPressureRise = g.QuantityOr("max_pressure_rise", unit.PressureRate, yamltext.Positive, 0)
	p.rig.Guard.MaxCurrent = g.QuantityOr("max_current", unit.Current, yamltext.Positive, 0)
	p.rig.Guard.MinVoltage = g.QuantityOr("min_voltage", unit.Voltage, yamltext.Positive, 0)
	p.rig.Guard.MaxTemperature = g.QuantityOr("max_temperature", unit.Temperature,
		yamltext.Range{Min: coolestGuard, Max: hottestGuard}, 0)
	p.rig.Guard.StaleAfter = g.Count("stale_after", "intervals", 2, 50)
	g.Done()
}

// estimate reads {value: 38 mL, U: 1 mL}.
func (p *parsing) estimate(f *yamltext.Fields, key string, d unit.Dimension, must bool,
	example string) rig.Estimate {
	n := f.Get(key)
	if must {
		n = f.Need(key, example)
	}
	if n == nil {
		return rig.Estimate{}
	}
	e := p.Fields(n, key)
	value, _ := e.Quantity("value", d, yamltext.NotBelow, "a number with its unit")
	u, _ := e.Quantity("U", d, yamltext.NotBelow,
		"the expanded uncertainty (k = 2) of the value, with its unit")
	e.Done()
	return rig.Estimate{Value: value, U: u}
}

func (p *parsing) hydraulics(f *yamltext.Fields) {
	bare := p.rig.Kind == rig.Bare
	p.rig.LineVolume = p.estimate(f, "line_volume", unit.Volume, bare, "{value: 38 mL, U: 1 mL}")
	p.rig.CheckValve = p.estimate(f, "check_valve", unit.Pressure, bare, "{value: 0.3 bar, U: 0.05 bar}")
	p.rig.StrokeVol = f.QuantityOr("stroke_volume", unit.Volume, yamltext.Positive, 0)
	p.dosingValve(f)
	p.regulator(f)
}

func (p *parsing) dosingValve(f *yamltext.Fields) {
	n := f.Get("dosing_valve")
	if n == nil {
		return
	}
	v := p.Fields(n, "dosing_valve")
	d := &p.rig.Dosing
	d.FullFlow, _ = v.Quantity("full_flow", unit.MassRate, yamltext.Positive, "106 g/min")
	d.AtPressure, _ = v.Quantity("at_pressure", unit.Pressure, yamltext.Positive, "9 bar")
	d.Frequency, _ = v.Quantity("frequency", unit.Frequency, yamltext.Positive, "4 Hz")
	d.Lost = v.DurationOr("lost", time.Second, 0)
	if share := d.Lost.Seconds() * d.Frequency; share >= 1 {
		p.Add(v.Get("lost"), fmt.Sprintf("lost: %s at %g Hz", d.Lost, d.Frequency),
			"less than one period can be lost per opening")
	}
	v.Done()
}

func (p *parsing) regulator(f *yamltext.Fields) {
	const example = "{gain: 6 %/bar, reset: 2 s, max_drive: 100 %, feed_drive: 40 %}"
	n := f.Get("regulator")
	if p.rig.Kind == rig.Bare {
		n = f.Need("regulator", example)
	}
	if n == nil {
		return
	}
	g := p.Fields(n, "regulator")
	c := &p.rig.Regulator
	c.Gain, _ = g.Quantity("gain", unit.Gain, yamltext.Positive, "6 %/bar")
	c.Reset = g.Duration("reset", 10*time.Minute, "2 s")
	c.MaxDrive, _ = g.Quantity("max_drive", unit.Ratio, yamltext.Range{Min: 1, Max: 100}, "100 %")
	c.MaxSlew = g.QuantityOr("max_slew", unit.Slew, yamltext.Positive, 0)
	c.FeedDrive, _ = g.Quantity("feed_drive", unit.Ratio, yamltext.Percent, "40 %")
	if c.MaxDrive > 0 && c.FeedDrive > c.MaxDrive {
		p.Add(g.Get("feed_drive"),
			fmt.Sprintf("feed_drive: %g %% above max_drive %g %%", c.FeedDrive, c.MaxDrive),
			"start inside what may be used")
	}
	if a := p.rig.Commands[rig.SetPumpDrive]; a != nil && c.MaxDrive > a.Max {
		p.Add(g.Get("max_drive"), fmt.Sprintf("max_drive: %g %%", c.MaxDrive),
			fmt.Sprintf("the pump_drive command goes up to %g %%", a.Max))
	}
	g.Done()
}

// required says what a bench cannot do without.
func (p *parsing) required(f *yamltext.Fields) {
	needed := []rig.Channel{rig.LinePressure}
	if p.rig.Kind == rig.Bare {
		needed = append(needed, rig.EmergencyStop, rig.OutputsEnabled)
		for _, c := range []rig.Command{rig.SetPumpDrive, rig.SetDosingDuty, rig.SetReturnValve} {
			if p.rig.Commands[c] == nil && !p.written(f, "commands", c.String()) {
				p.missing(f, "commands", c.String(), "a bare unit is driven by it")
			}
		}
	}
	for _, c := range needed {
		if p.rig.Channels[c] == nil && !p.written(f, "channels", c.String()) {
			p.missing(f, "channels", c.String(), "no bench can be watched without it")
		}
	}
	p.barometer(f)
}

func (p *parsing) written(f *yamltext.Fields, section, key string) bool {
	n := f.Get(section)
	return n != nil && n.Entry(key) != nil
}

func (p *parsing) missing(f *yamltext.Fields, section, key, why string) {
	n := f.Get(section)
	if n == nil {
		return // the section itself is missing and said so
	}
	p.Add(n, fmt.Sprintf("%s without %s", section, key), "map it: "+why)
}

// barometer: a pressure sent as absolute needs to know what the atmosphere is.
func (p *parsing) barometer(f *yamltext.Fields) {
	if p.rig.Channels[rig.AmbientPressure] != nil || p.written(f, "channels", rig.AmbientPressure.String()) ||
		p.rig.Barometer.Value > 0 {
		return
	}
	for _, in := range p.rig.Channels {
		if in != nil && in.Signal.Absolute {
			p.Add(f.Get("channels"), fmt.Sprintf("%s is absolute and there is no barometer", in.Channel),
				"map ambient_pressure, or write barometer: {value: 1.013 bar, U: 0.02 bar}")
			return
		}
	}
}

var errNoDatabase = errors.New("no message database to look in; name one: messages: bench-node.dbc")
