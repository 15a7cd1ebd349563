package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/controller"
	"holdfast/j1939/can/lockstep"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/can/unixbus"
)

// unixPath is the path of a bus that is named unix:PATH: between processes of this computer.
func unixPath(bus string) (path string, ok bool) { return strings.CutPrefix(bus, unixbus.Prefix) }

// lockstepPath is the path of a simulation that is named lockstep:PATH: its time is granted by the harness.
func lockstepPath(bus string) (path string, ok bool) { return strings.CutPrefix(bus, lockstep.Prefix) }

// noHardware says that nothing on a bus can be a real unit: all that is on it are programs of this computer.
func noHardware(bus string) bool {
	_, between := unixPath(bus)
	_, granted := lockstepPath(bus)
	return between || granted || bus == simbench.Bus
}

// simulatedBus says that no real unit can be on a bus: there is no hardware, or the interface is virtual (vcan, vxcan),
// whatever its name.
func simulatedBus(bus string) bool {
	if noHardware(bus) {
		return true
	}
	state, err := controller.Read(bus)
	return err == nil && state.Virtual
}

// virtualTime says that the time of a bus is computed and waits for nobody.
func virtualTime(bus string) bool {
	_, granted := lockstepPath(bus)
	return granted || bus == simbench.Bus
}

// notLockstep refuses lockstep:PATH where time cannot be granted.
func notLockstep(bus string) error {
	if _, granted := lockstepPath(bus); granted {
		return withStatus(exitUsage, fmt.Errorf("%s: a simulation in lock-step has one harness, which grants its "+
			"time: holdfast run and campaign join it, holdfast sim makes one", bus))
	}
	return nil
}

// recordingEndings are the usual endings of a recording's name.
var recordingEndings = []string{".log", ".pcap", ".pcapng", ".candump", ".txt"}

// looksLikeFile tells a recording that is missing from an interface that is.
func looksLikeFile(name string) bool {
	return !noHardware(name) && (strings.ContainsAny(name, `/\`) ||
		slices.Contains(recordingEndings, strings.ToLower(filepath.Ext(name))))
}

// missingFile is an error, bad input, where a name can only be that of a file and there is none.
func missingFile(name string) error {
	if !looksLikeFile(name) {
		return nil
	}
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		return withStatus(exitUsage, fmt.Errorf("%s: no such file", name))
	}
	return nil
}

// openPort joins a bus to hear and speak: a CAN interface, or unix:PATH. Its errors carry the exit status.
func openPort(bus string) (can.Port, error) {
	if err := notLockstep(bus); err != nil {
		return nil, err
	}
	path, between := unixPath(bus)
	if !between {
		if err := missingFile(bus); err != nil {
			return nil, err
		}
		port, err := socketcan.Open(bus, socketcan.Options{})
		return opened(port, err)
	}
	port, err := unixbus.Join(path)
	return opened(port, hinted(err, bus))
}

// openListener joins a bus to hear it. What it returns has no method that sends.
func openListener(bus string) (can.Source, error) {
	if err := notLockstep(bus); err != nil {
		return nil, err
	}
	path, between := unixPath(bus)
	if !between {
		return socketcan.Listen(bus, socketcan.Options{})
	}
	source, err := unixbus.Listen(path)
	return source, hinted(err, bus)
}

// attachPort is openPort for who brings a bus to life: it makes unix:PATH where there is none.
func attachPort(bus string) (can.Port, error) {
	path, between := unixPath(bus)
	if !between {
		return openPort(bus)
	}
	port, err := unixbus.Attach(path)
	return opened(port, err)
}

// opened keeps a port that could not be opened from being a nil inside an interface.
func opened(port can.Port, err error) (can.Port, error) {
	if err != nil {
		return nil, withStatus(exitBus, err)
	}
	return port, nil
}

func hinted(err error, bus string) error {
	if errors.Is(err, can.ErrMissing) {
		return fmt.Errorf("%w: holdfast sim --bus %s makes one, with a bench on it", err, bus)
	}
	return err
}
