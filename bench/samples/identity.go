package samples

import "time"

// Identity is what a run is about. It is written into the journal's header.
type Identity struct {
	Run       string // unique, sortable by time
	Serial    string // of the unit
	UnitHours float64
	Started   time.Time
	Scenario  string
	Rig       string
	Bus       string // interface name, or "sim"
	Simulated bool
	Seed      uint64             // of the simulator; 0 on a real bus
	Faults    map[string]float64 // set in the simulator; nil on a real bus
	Version   string             // of holdfast
	// By is who ran the test, as the person said; a claim.
	By string `json:",omitempty"`
	// Lies are what instruments were made to do between a simulated bench and the harness; nil on a real bus.
	Lies []string `json:",omitempty"`
	// BenchCheck is the last check of the bench with a golden unit; nil: none is known.
	BenchCheck *BenchCheck `json:",omitempty"`
}
