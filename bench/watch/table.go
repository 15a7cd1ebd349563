package watch

import (
	"strings"
	"sync"

	"holdfast/j1939/can/capture"
	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// Signal is one of the followed parameters.
type Signal uint8

// The parameters followed. Those up to NOxAfterHeater exist once for each aftertreatment bank.
const (
	DoserPressure     Signal = iota // kPa absolute
	DosingActual                    // g/h
	DosingState                     // states of SPN 4332
	Integrator                      // g
	DosingRequested                 // g/h
	PumpSpeed                       // rpm
	PumpDrive                       // %
	Diverter                        // %: the return valve, energised to empty the line
	TankLevel                       // %
	TankTemperature                 // °C
	TankHeater                      // %
	Concentration                   // %
	FluidProperty                   // states of SPN 3521
	DoserTemperature                // °C
	LineHeater                      // states of SPN 4340
	LineHeaterRequest               // states of SPN 4354
	SCRIntake                       // °C
	SCROutlet                       // °C
	NOxBefore                       // ppm
	NOxBeforeHeater                 // states of SPN 3223
	NOxAfter                        // ppm
	NOxAfterHeater                  // states of SPN 3233
	Supply                          // V
	KeySwitch                       // V
	Ambient                         // °C
	Barometer                       // kPa
	EngineSpeed                     // rpm
	VehicleSpeed                    // km/h
	EngineHours                     // h
	numSignals        = iota
	firstOfVehicle    = Supply
)

// followed names each signal: its number in bank 1 (or the vehicle), and what a person calls it.
var followed = [numSignals]struct {
	spn, pgn uint32
	words    string
}{
	DoserPressure:     {4334, 61475, "doser pressure"},
	DosingActual:      {4331, 61475, "dosing, actual"},
	DosingState:       {4332, 61475, "dosing system state"},
	Integrator:        {4333, 61475, "dosed quantity (integrator)"},
	DosingRequested:   {4348, 61476, "dosing, requested"},
	PumpSpeed:         {4374, 64828, "pump speed"},
	PumpDrive:         {4375, 64828, "pump drive"},
	Diverter:          {4376, 64828, "diverter valve"},
	TankLevel:         {1761, 65110, "tank level"},
	TankTemperature:   {3031, 65110, "tank temperature"},
	TankHeater:        {3363, 65110, "tank heater"},
	Concentration:     {3516, 64923, "DEF concentration"},
	FluidProperty:     {3521, 64923, "DEF property"},
	DoserTemperature:  {4337, 64833, "doser temperature"},
	LineHeater:        {4340, 64833, "line heater 1 state"},
	LineHeaterRequest: {4354, 64832, "line heater 1 request"},
	SCRIntake:         {4360, 64830, "SCR intake temperature"},
	SCROutlet:         {4363, 64830, "SCR outlet temperature"},
	NOxBefore:         {3216, 61454, "NOx before"},
	NOxBeforeHeater:   {3223, 61454, "NOx sensor heater before"},
	NOxAfter:          {3226, 61455, "NOx after"},
	NOxAfterHeater:    {3233, 61455, "NOx sensor heater after"},
	Supply:            {168, 65271, "supply voltage"},
	KeySwitch:         {158, 65271, "key switch voltage"},
	Ambient:           {171, 65269, "ambient temperature"},
	Barometer:         {108, 65269, "barometric pressure"},
	EngineSpeed:       {190, 61444, "engine speed"},
	VehicleSpeed:      {84, 65265, "vehicle speed"},
	EngineHours:       {247, 65253, "engine hours"},
}

// String is what a person calls the signal.
func (s Signal) String() string { return followed[s].words }

// Banks are the aftertreatment banks that are followed; bank 0 is the vehicle.
const Banks = 2

// field is one followed parameter in its group.
type field struct {
	signal     Signal
	bank       uint8
	parameter  *spn.Parameter
	mask       uint64
	shift, end uint8
	low, high  uint64 // valid raw values of a measured parameter; low > high for states
}

// group is one followed parameter group.
type group struct {
	pgn    uint32
	name   string
	fields []field
	unit   uint8 // bank whose unit sends it; 0: it is no dosing information
}

// Kinds of groups that are not read by their fields.
const (
	kindIgnored = iota
	kindConnection
	kindData
	kindFaults
	kindVIN
	firstGroup // groups[kind-firstGroup]
)

// vehicleIdentification is PGN 65260, SPN 237.
const vehicleIdentification = 65260

// table finds what a frame is by the 18 bits of its identifier that hold the PGN. For destination-specific
// groups every destination is entered, so that one look-up does.
type table struct {
	kind   [1 << 18]uint8
	groups []*group
}

var compiled = sync.OnceValue(compile)

func compile() *table {
	t := &table{}
	byPGN := map[uint32]*group{}
	for s := range Signal(numSignals) {
		own := find(followed[s].spn, followed[s].pgn)
		if s >= firstOfVehicle {
			t.add(byPGN, newField(s, 0, own))
			continue
		}
		t.add(byPGN, newField(s, 1, own))
		if other := inBank2(own); other != nil {
			t.add(byPGN, newField(s, 2, other))
		}
	}
	t.enter(transport.PGNConnection, kindConnection)
	t.enter(transport.PGNData, kindData)
	t.enter(diag.DM1, kindFaults)
	t.enter(diag.DM2, kindFaults)
	t.enter(vehicleIdentification, kindVIN)
	return t
}

// wanted are the identifiers that are followed, as a reader of recordings takes them.
var wanted = sync.OnceValue(func() *capture.Wanted {
	w := new(capture.Wanted)
	for i, kind := range compiled().kind {
		if kind != kindIgnored {
			w[i] = 1
		}
	}
	return w
})

// Wanted returns which frames a Watcher looks at. All others only show that the bus is alive.
func Wanted() *capture.Wanted { return wanted() }

// find returns the parameter; its absence is a broken catalogue.
func find(number, pgn uint32) *spn.Parameter {
	for _, p := range spn.Find(number) {
		if p.PGN == pgn {
			return p
		}
	}
	panic("watch: the catalogue has lost a followed parameter")
}

// inBank2 finds the same parameter of the second bank by the standard's name; nil where the catalogue has
// none.
func inBank2(p *spn.Parameter) *spn.Parameter {
	name := strings.NewReplacer("Aftertreatment 1", "Aftertreatment 2", "Engine Exhaust 1",
		"Engine Exhaust 2").
		Replace(p.Name)
	if name == p.Name {
		return nil
	}
	for _, q := range spn.Named(name) {
		if q.Bits == p.Bits && q.PGN != 0 {
			return q
		}
	}
	return nil
}

func newField(s Signal, bank uint8, p *spn.Parameter) field {
	shift := (int(p.Byte)-1)*8 + int(p.Bit) - 1
	f := field{signal: s, bank: bank, parameter: p, mask: 1<<p.Bits - 1, shift: uint8(shift),
		end: uint8((shift + int(p.Bits) + 7) / 8), low: 1}
	if p.Kind == spn.Measured {
		f.low, f.high = p.Range()
	}
	return f
}

func (t *table) add(byPGN map[uint32]*group, f field) {
	g := byPGN[f.parameter.PGN]
	if g == nil {
		g = &group{pgn: f.parameter.PGN}
		if m := f.parameter.Message; m != nil {
			g.name = m.Acronym
		}
		byPGN[g.pgn] = g
		t.enter(g.pgn, uint8(firstGroup+len(t.groups)))
		t.groups = append(t.groups, g)
	}
	if f.signal == DoserPressure {
		g.unit = f.bank
	}
	g.fields = append(g.fields, f)
}

// enter makes a PGN known. PDU1 groups (PF below 240) carry a destination in the low byte.
func (t *table) enter(pgn uint32, kind uint8) {
	if pgn>>8&0xFF >= 240 {
		t.kind[pgn] = kind
		return
	}
	for destination := range uint32(256) {
		t.kind[pgn|destination] = kind
	}
}
