package main

// room is one line of the import law: what a package may reach, directly or through what it imports. Whatever is
// not allowed is forbidden. "bench/rig" allows that package alone, "j1939/..." everything in that room.
type room struct{ path, may, why string }

// Names for what several rooms are built on, from the bottom up.
const (
	words    = "j1939/clock j1939/unit j1939/id j1939/spn "                                                                         // leaves: time, quantities, identifiers, parameters
	frames   = words + "j1939/can "                                                                                                 // and the frame with its bus port
	messages = frames + "j1939/ident j1939/diag j1939/transport j1939/dbc "                                                         // and what frames say together
	model    = frames + "bench/rig bench/scenario bench/samples "                                                                   // what was tested, by what, on what; no text
	reading  = model + "bench/characteristic bench/control bench/yamltext bench/rig/rigfile bench/scenario/scenariofile j1939/dbc " // and the files a person writes
	judging  = model + "bench/characteristic bench/measure bench/grade bench/cause bench/judge "                                    // samples to a verdict
	watching = messages + "j1939/name j1939/trace j1939/can/capture j1939/can/capture/mdf bench/yamltext bench/watch "              // a vehicle, heard
	keeping  = judging + reading + watching + "bench/disk bench/journal bench/seal bench/record "
	playing  = "sim/..."
)

// importLaw is the law: data flows one way, bus -> signals -> samples -> characteristics -> verdict -> report.
// A new room gets a line here; TestImportLaw prints the line that describes what the room does today.
var importLaw = []room{
	{"j1939/clock", "", "time as a value"},
	{"j1939/unit", "", "quantities know no bus"},
	{"j1939/id", "", "an identifier is a number"},
	{"j1939/name", "", "a NAME is a number"},
	{"j1939/spn", "", "a parameter is bytes, wherever they came from"},
	{"j1939/can", "j1939/clock", "a frame and its port: no J1939"},
	{"j1939/can/virtual", "j1939/clock j1939/can", "a twin of the port"},
	{"j1939/can/socketcan", "j1939/clock j1939/can", "a twin of the port"},
	{"j1939/can/unixbus", "j1939/clock j1939/can", "a twin of the port"},
	{"j1939/can/capture", "j1939/clock j1939/can j1939/can/capture/mdf", "a twin of the port"},
	{"j1939/can/capture/mdf", "j1939/clock j1939/can", "a file of another form: frames, no J1939"},
	{"j1939/can/capture/recorded", "", "where recordings lie; for tests"},
	{"j1939/can/bustest", "j1939/clock j1939/can", "the suite that every twin passes"},
	{"j1939/can/lockstep", "j1939/clock j1939/can j1939/can/virtual", "a bus that waits for a simulated bench of any make"},
	{"j1939/can/controller", "", "asks the kernel about an interface"},
	{"j1939/ident", "j1939/spn", "what controllers say of themselves: bytes, no bus"},
	{"j1939/diag", "j1939/spn j1939/ident", "a diagnostic message is bytes, wherever they came from"},
	{"j1939/dbc", "j1939/id j1939/spn", "a person's own signals, from text"},
	{"j1939/transport", "j1939/clock j1939/id j1939/can", "a pure state machine: no port is opened here"},
	{"j1939/claim", "j1939/clock j1939/id j1939/name j1939/can", "a pure state machine: no port is opened here"},
	{"j1939/node", frames + "j1939/name j1939/claim j1939/transport", "drives bus, claim and transport; knows no bench"},
	{"j1939/survey", messages + "j1939/name j1939/claim j1939/node j1939/trace", "who is on a bus; knows no bench"},
	{"j1939/survey/surveytest", messages + "j1939/name j1939/claim j1939/node", "controllers for tests"},
	{"j1939/trace", messages + "j1939/name", "is handed a source: it must not be able to open what could send"},
	{"j1939/trace/tracegen", "j1939/clock j1939/can", "made-up traffic for benchmarks"},

	{"sim", "j1939/clock j1939/can sim/...", "reached through CAN frames only: code shared with bench would hide shared mistakes"},
	{"sim/fluid", "", "physics alone"},
	{"sim/hydraulic", "sim/fluid", "physics alone"},
	{"sim/unit", "sim/fluid sim/hydraulic", "physics alone"},
	{"sim/signal", "", "bit packing of its own, so that a mistake in bench's is seen"},
	{"sim/rig", "j1939/clock sim/signal", "the node's messages, without a bus"},
	{"sim/controller", "j1939/clock sim/signal", "the unit's own messages, without a bus"},
	{"sim/vehicle", "j1939/clock j1939/can", "a vehicle is frames"},
	{"sim/lie", "j1939/clock j1939/can", "a lying bench is frames: it is the same for every world"},
	{"sim/other", "sim/other/...", "the second world shares nothing with the first: agreement would prove nothing"},
	{"sim/other/ode", "", "a solver of its own"},
	{"sim/other/plant", "sim/other/ode", "physics of its own"},
	{"sim/other/gauge", "sim/other/ode sim/other/plant", "instruments of its own"},
	{"sim/other/node", "sim/other/ode sim/other/plant sim/other/gauge", "bench-node.dbc read a second time, from its text alone"},

	{"bench/yamltext", "j1939/unit", "positions of what a person wrote; no keys of its own"},
	{"bench/rig", frames, "what a bench is; its file is read in bench/rig/rigfile"},
	{"bench/rig/rigfile", frames + "j1939/dbc bench/rig bench/yamltext", "reads a rig, moves nothing"},
	{"bench/scenario", frames + "bench/rig", "what a plan is; its file is read in bench/scenario/scenariofile"},
	{"bench/scenario/scenariofile", model + "bench/characteristic bench/control bench/yamltext", "reads a plan, by what each kind of step says of its keys and its place; moves nothing"},
	{"bench/samples", frames + "bench/rig bench/scenario", "what a run left behind; computes nothing"},
	{"bench/interlock", frames + "bench/rig", "safety does not depend on the scenario, nor on the step that runs, nor on how a file is read"},
	{"bench/control", model, "what each kind of step is, asks for and ends with; pure, shared by the reader, engine and predict"},
	{"bench/characteristic", model, "names, units and needs of characteristics; computes nothing"},
	{"bench/engine", model + "bench/control bench/interlock j1939/ident j1939/diag j1939/transport", "runs: it does not measure, judge or report"},
	{"bench/disk", "", "files, whatever is in them"},
	{"bench/proof", model + "bench/interlock", "what a node can be seen to do; drives no pump"},
	{"bench/journal", model + "bench/disk", "keeps what it is given"},
	{"bench/measure", model + "bench/characteristic", "pure: from samples alone; knows no limits"},
	{"bench/grade", model + "bench/characteristic bench/measure", "pure: a value against a limit"},
	{"bench/cause", model + "bench/characteristic bench/measure bench/grade", "pure: characteristics to causes"},
	{"bench/judge", judging + "bench/characteristic", "pure: the same journal gives the same result on any day"},
	{"bench/predict", judging + "bench/control", "before the run: no simulator, no journal"},
	{"bench/golden", judging + "bench/yamltext", "values against their references; runs nothing"},
	{"bench/seal", "bench/disk", "hashes and a signature over files, whatever is in them"},
	{"bench/watch", watching, "a listener is handed a source: it moves nothing and takes no part in the bus"},
	{"bench/watch/alarm", watching, "a person's rules, held against what the watcher sees"},
	{"bench/watch/keep", watching + "bench/disk", "files of a watch"},
	{"bench/watch/live", watching + "bench/watch/alarm bench/watch/keep bench/disk", "a watch that goes on: it is handed its source and its clock"},
	{"bench/history", judging + watching, "pure: results side by side"},
	{"bench/record", keeping + "bench/characteristic", "folders and their index"},
	{"bench/data", keeping + "bench/characteristic", "rows for other programs"},
	{"bench/report", judging + "bench/characteristic bench/disk", "shows, never judges again and moves nothing"},
	{"bench/session", keeping + "bench/characteristic bench/control bench/interlock bench/engine bench/predict bench/golden bench/report",
		"one run from plan to record, as the command line asks for it"},
	{"bench/shop", keeping + "bench/characteristic bench/history bench/report bench/golden", "visits of units; moves nothing"},

	{"scenarios", "", "a shipped file is text: it is checked by the rooms that read it"},
	{"scenarios/schema", "", "a shipped file is text"},

	{"cmd/gate", "", "runs the tests and keeps the evidence; no part of the program"},
	{"cmd/holdfast/lies", reading + "sim/lie", "names of a rig's channels for what lies about them"},
	{"cmd/holdfast/console", judging + reading + messages + "bench/characteristic bench/control bench/interlock bench/engine bench/disk bench/report", "the person at the terminal; decides nothing"},
	{"cmd/holdfast/oplog", "", "how the program does, not what a unit did"},
	{"cmd/holdfast/memory", "", "the program's own memory"},
	{"cmd/holdfast/simbench", "bench/... j1939/... " + playing, "sets up a run on the simulated bench: joins the two"},
	{"cmd/holdfast/campaign", "cmd/holdfast/simbench cmd/holdfast/lies bench/... j1939/... scenarios " + playing, "holds the harness against the simulator's truth: joins the two"},
	{"cmd/holdfast/torture", "cmd/holdfast/simbench cmd/holdfast/lies bench/... j1939/... scenarios " + playing, "breaks the bench under a run: joins the two"},
	{"cmd/holdfast", "cmd/holdfast/... bench/... j1939/... scenarios/... " + playing, "flags in, calls out: joins everything"},
}

// testsMay is what tests of a room may import beside what the room itself may reach: by the first folder.
var testsMay = map[string]string{
	"j1939":     "j1939/...",
	"sim":       "sim/... j1939/...",
	"bench":     "bench/... j1939/...",
	"scenarios": "scenarios/... bench/... j1939/...",
	"cmd":       "cmd/... bench/... j1939/... scenarios/... sim/...",
}

// clockEdges are the packages that may read the computer's clock or wait by it. Everything else gets its time as a
// parameter, so that it runs the same in real and in simulated time.
var clockEdges = map[string]string{
	"cmd/gate":              "says how long the tests took",
	"cmd/holdfast":          "the command line: dates of records, progress, time-outs that a person asked for",
	"cmd/holdfast/console":  "draws as often as a person can read, and does not wait for a terminal that takes nothing",
	"cmd/holdfast/simbench": "the paced bus keeps up with the clock on the wall",
	"j1939/clock":           "Real is the one place where the computer's clock becomes an Instant",
	"j1939/can":             "a port says what time it is on its bus",
	"j1939/can/socketcan":   "a port says what time it is on its bus",
	"j1939/can/unixbus":     "a port says what time it is on its bus",
	"j1939/can/lockstep":    "a port says what time it is on its bus, and ends a bench that no longer answers",
}

// clockReads is every way to read the clock or to wait by it: import path to names.
var clockReads = map[string]string{
	"time":                   "Now Since Until Sleep After AfterFunc Tick NewTimer NewTicker",
	"context":                "WithTimeout WithTimeoutCause WithDeadline WithDeadlineCause",
	"holdfast/j1939/clock":   "Real",
	"golang.org/x/sys/unix":  "ClockGettime ClockNanosleep Nanosleep Gettimeofday Time Times Select Pselect",
	"syscall":                "Gettimeofday Nanosleep Time Times Select",
	"golang.org/x/time/rate": "NewLimiter",
}
