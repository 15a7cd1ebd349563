package main

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"

	"holdfast/sim/other/gauge"
	"holdfast/sim/other/node"
	"holdfast/sim/other/plant"
)

// asked is what one run shall simulate.
type asked struct {
	seed       uint64
	kind       string
	spread     bool // between units; without it the middle unit of its type
	faults     []plant.Fault
	controller bool // a unit with its own
	// Celsius of tank and room when set; "" leaves the drawn ones.
	tank, room string
	dump       string // file for the true course; "": none
}

// parse reads the lines of a hello on top of what the command line asked for.
func (a asked) parse(lines string) (asked, error) {
	a.faults = append([]plant.Fault(nil), a.faults...)
	for line := range strings.Lines(lines) {
		line = strings.TrimRight(line, "\n")
		key, value, ok := strings.Cut(line, "=")
		if !ok {
			return a, fmt.Errorf("%q is not key=value", line)
		}
		if err := a.set(key, value); err != nil {
			return a, err
		}
	}
	return a, nil
}

func (a *asked) set(key, value string) error {
	switch key {
	case "seed":
		seed, err := strconv.ParseUint(value, 10, 64)
		if err != nil {
			return fmt.Errorf("seed %q is not a whole number from 0 on", value)
		}
		a.seed = seed
	case "fault":
		f, err := plant.ParseFault(value)
		if err != nil {
			return err
		}
		a.faults = append(a.faults, f)
	case "unit":
		if value != "bare" && value != "controller" {
			return fmt.Errorf("no unit %q; there are bare and controller", value)
		}
		a.controller = value == "controller"
	case "set":
		name, to, _ := strings.Cut(value, "=")
		return a.setting(name, to)
	default:
		return fmt.Errorf("%q is not known here; seed, fault, unit and set are", key)
	}
	return nil
}

func (a *asked) setting(name, to string) error {
	switch name {
	case "type":
		if _, err := plant.Kind(to); err != nil {
			return err
		}
		a.kind = to
	case "spread":
		if to != "yes" && to != "no" {
			return fmt.Errorf("spread is yes or no, not %q", to)
		}
		a.spread = to == "yes"
	case "tank", "room":
		c, err := strconv.ParseFloat(to, 64)
		if err != nil || !(c >= -10 && c <= 45) {
			return fmt.Errorf("%s is a temperature from -10 to 45, in °C, not %q", name, to)
		}
		if name == "tank" {
			a.tank = to
		} else {
			a.room = to
		}
	default:
		return fmt.Errorf("no setting %q; there are type (%s), spread, tank, room", name,
			strings.Join(plant.Kinds(), ", "))
	}
	return nil
}

// welcome says what is in force.
func (a asked) welcome() string {
	var b strings.Builder
	fmt.Fprintf(&b, "name=other world/1\nseed=%d\nunit=%s\nset=type=%s\nset=spread=%s\n", a.seed, a.unit(),
		a.kind, yes(a.spread))
	for _, f := range a.faults {
		fmt.Fprintf(&b, "fault=%s=%g\n", f.Name, f.Severity)
	}
	if a.tank != "" {
		fmt.Fprintf(&b, "set=tank=%s\n", a.tank)
	}
	if a.room != "" {
		fmt.Fprintf(&b, "set=room=%s\n", a.room)
	}
	return b.String()
}

func (a asked) unit() string {
	if a.controller {
		return "controller"
	}
	return "bare"
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// run is one bench with its unit, and the log of what really happened.
type run struct {
	asked
	node *node.Node
	log  *plant.Log
}

// build makes the bench and the unit that were asked for.
func (a asked) build() (*run, error) {
	rng := rand.New(rand.NewPCG(a.seed, 0x2545f4914f6cdd1d))
	p, err := plant.Drawn(a.kind, rng)
	if err != nil {
		return nil, err
	}
	if !a.spread {
		p, _ = plant.Kind(a.kind)
	}
	for _, at := range []struct {
		text string
		to   *float64
	}{{a.tank, &p.TankCelsius}, {a.room, &p.RoomCelsius}} {
		if at.text != "" {
			*at.to, _ = strconv.ParseFloat(at.text, 64)
		}
	}
	var fluid plant.Fluid
	harm := plant.Apply(&p, &fluid, a.faults, rng)
	w := plant.New(p, fluid, harm, rng.Uint64())
	w.Log = &plant.Log{}
	b := gauge.New(rng.Uint64(), harm)
	n := node.New(w, b, rng.Uint64())
	if a.controller {
		c, err := node.NewController(w, b, a.kind)
		if err != nil {
			return nil, err
		}
		n.Join(c)
	}
	return &run{asked: a, node: n, log: w.Log}, nil
}

// write keeps the true course as a table, one line every 10 ms.
func (r *run) write() error {
	if r.dump == "" {
		return nil
	}
	f, err := os.Create(fmt.Sprintf("%s.%d.csv", r.dump, r.seed))
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "s,bar,sensor_bar,rpm,drive,duty,coil_A,motor_A,spool,air_mL,fluid_mL,line_C,back_mL,forward_mL,dosed_g")
	last := -1.0
	for _, m := range r.log.Moments {
		if m.T < last+0.01 {
			continue
		}
		last = m.T
		fmt.Fprintf(w, "%.4f,%.4f,%.4f,%.1f,%.4f,%.4f,%.3f,%.3f,%.3f,%.4f,%.3f,%.2f,%.3f,%.3f,%.4f\n", m.T,
			m.Pressure, m.Sensor,
			m.Speed, m.Drive, m.Duty, m.Coil, m.Motor, m.Spool, m.Gas, m.Fluid, m.Line, m.Back, m.Forward, m.Dosed)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return f.Close()
}
