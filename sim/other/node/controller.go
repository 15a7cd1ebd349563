package node

import (
	"math"

	"holdfast/sim/other/gauge"
	"holdfast/sim/other/plant"
)

// Addresses and groups of SAE J1939 that the unit's own controller uses. Layouts: public message lists of
// J1939-71 and -73.
const (
	unitAddress = 0x3d // 61, exhaust emission controller
	requestsPGN = 61476
	infoPGN     = 61475
	info2PGN    = 64833
	supplyPGN   = 64828
	tankPGN     = 65110
	dm1PGN      = 65226
	claimPGN    = 60928
	requestPGN  = 59904
	ackPGN      = 59392
)

// States of SPN 4332 and 4349.
const (
	dormant   = 0
	ready     = 1
	dosing    = 2
	purging   = 4
	testDose  = 9
	testStill = 10
	priming   = 12
)

// Controller is a unit's own J1939 controller with its pressure regulator. What it does in each state is this
// maker's choice: priming pumps at a fixed drive and goes over to regulating; readiness regulates; the two
// test modes keep the pump still, with and without dosing; anything else is rest.
type Controller struct {
	world  *plant.World
	bench  *gauge.Bench
	design plant.Params // of its type: what the maker has written into it

	state               int
	asked               float64 // g/h
	heardAt             int64
	primed              bool
	sum                 float64 // of the regulator, share of the drive
	pressure            float64 // bar gauge, as it reads its own sensor
	valid               bool
	duty                float64
	given               float64 // g, the integrator
	code                uint32  // SPN << 5 | FMI; 0 none
	claimed             bool
	pending             []Frame // answers, for the next tick
	shifting, fed, last int64
}

// controlEvery is the controller's own cycle, ns.
const controlEvery = 10 * ms

// quiet is how long it goes on without a request, ns.
const quiet = 1000 * ms

// NewController is the controller of a unit of a type, beside the bench's node.
func NewController(w *plant.World, b *gauge.Bench, kind string) (*Controller, error) {
	design, err := plant.Kind(kind)
	return &Controller{world: w, bench: b, design: design, heardAt: -quiet}, err
}

func pgnOf(id uint32) (pgn, to uint32) {
	pgn = id >> 8 & 0x3ffff
	if pgn>>8&0xff < 240 {
		return pgn &^ 0xff, pgn & 0xff
	}
	return pgn, 0xff
}

// Hear takes one frame off the bus at now (ns).
func (c *Controller) Hear(f Frame, now int64) {
	pgn, to := pgnOf(f.ID)
	switch {
	case pgn == requestsPGN && f.Len == 8:
		c.heardAt = now
		if quantity := uint(f.Data[0]) | uint(f.Data[1])<<8; quantity <= 0xfaff {
			c.asked = float64(quantity) * 0.3
		}
		if s := int(f.Data[2] & 15); s != 15 && s != c.state {
			c.state, c.primed, c.sum = s, false, 0
		}
	case pgn == requestPGN && f.Len == 3 && (to == 0xff || to == unitAddress):
		c.answer(uint32(f.Data[0])|uint32(f.Data[1])<<8|uint32(f.Data[2])<<16, to, byte(f.ID))
	}
}

func (c *Controller) answer(pgn, to uint32, from byte) {
	switch {
	case pgn == claimPGN:
		c.pending = append(c.pending, claim())
	case to != 0xff: // nothing else on request: a directed one is refused
		f := Frame{ID: 6<<26 | (ackPGN|0xff)<<8 | unitAddress, Len: 8}
		f.Data = [8]byte{1, 0xff, 0xff, 0xff, from, byte(pgn), byte(pgn >> 8), byte(pgn >> 16)}
		c.pending = append(c.pending, f)
	}
}

// claim is the NAME of an invented unit: identity 20411, function of an emission controller, on-highway, no
// free choice of address.
func claim() Frame {
	return Frame{ID: 6<<26 | (claimPGN|0xff)<<8 | unitAddress, Len: 8, Data: [8]byte{0xbb, 0x4f, 0, 0, 0, 0x3d,
		0, 0x10}}
}

// control is one cycle: reads its sensor, regulates, and puts its own outputs into o.
func (c *Controller) control(q plant.Probe, now int64, o *plant.Outputs) {
	dt := float64(now-c.last) / 1e9
	c.last = now
	own := c.bench.Own(q)/100 - q.Barometer/1e5
	c.valid = !math.IsNaN(own)
	if c.valid {
		c.pressure = own
	}
	if now-c.heardAt > quiet {
		c.state, c.asked = dormant, 0
	}
	nominal := c.design.NominalGauge / 1e5
	o.Drive, o.Return, c.duty, o.Heater = 0, false, 0, false
	switch c.state {
	case priming:
		c.primed = c.primed || c.pressure > 0.35*nominal
		o.Drive = 0.6
		if c.primed {
			o.Drive = c.regulate(nominal, dt)
		}
	case ready, dosing:
		o.Drive = c.regulate(nominal, dt)
	case purging:
		o.Drive, o.Return, c.duty = 0.6, true, 0.2
	}
	if c.state == dosing || c.state == testDose {
		c.duty = c.dutyFor(c.asked)
	}
	if !c.valid { // no pressure to go by
		o.Drive, c.duty = 0, 0
	}
	o.Duty = c.duty
	if c.state == dosing || c.state == testDose {
		c.given = math.Mod(c.given+c.flow()*dt/3600, 6425.5)
	}
	c.diagnose(q, o)
}

// regulate is the drive for a pressure in bar: feed-forward by the root of what is there, proportional, and a
// slow integral near the aim.
func (c *Controller) regulate(aim, dt float64) float64 {
	wrong := aim - c.pressure
	gain := 0.55 / aim
	if math.Abs(wrong) < 0.12*aim {
		c.sum = max(-0.3, min(0.4, c.sum+gain*wrong*dt/2.2))
	}
	return max(0.05, min(0.85, 0.44+gain*wrong+c.sum))
}

// full is what the type's dosing valve gives wide open at the pressure that is there, g/h.
func (c *Controller) full() float64 {
	p := max(c.pressure, 0.01) * 1e5
	return c.design.DoserArea * math.Sqrt(2*p*1090) * 1e3 * 3600
}

func (c *Controller) dutyFor(gPerH float64) float64 {
	if gPerH <= 0 {
		return 0
	}
	return min(1, gPerH/c.full()+c.design.DoserLost*c.design.DoserRate)
}

// flow is what it believes to dose, g/h.
func (c *Controller) flow() float64 {
	return max(0, c.duty-c.design.DoserLost*c.design.DoserRate) * c.full()
}

// diagnose keeps one code: a valve's coil without current (SPN 4376, FMI 5), a sensor without supply (SPN
// 4334, FMI 4).
func (c *Controller) diagnose(q plant.Probe, o *plant.Outputs) {
	if !o.Return {
		c.shifting = c.last
	}
	if q.SensorVolts >= 4.4 {
		c.fed = c.last
	}
	switch {
	case c.last-c.fed > 300*ms:
		c.code = 4334<<5 | 4
	case c.last-c.shifting > 300*ms && q.CoilAmps < 0.3*q.UnitVolts/c.design.CoilOhms:
		c.code = 4376<<5 | 5
	}
}

func frame(priority, pgn uint32) Frame {
	f := Frame{ID: priority<<26 | pgn<<8 | unitAddress, Len: 8}
	for i := range f.Data {
		f.Data[i] = 0xff
	}
	return f
}

// info is SCR dosing system information 1, every 50 ms.
func (c *Controller) info(q plant.Probe) Frame {
	f := frame(3, infoPGN)
	put(f.Data[0:], c.flow()*truth(c.state == dosing || c.state == testDose), 0.3, 0)
	f.Data[2] = 0xf0 | byte(c.state)
	put(f.Data[3:], c.given, 0.1, 0)
	f.Data[5] = 0xfe
	if c.valid {
		f.Data[5] = byte(max(0, min(250, math.Round((c.pressure*100+q.Barometer/1e3)/8))))
	}
	put(f.Data[6:], c.flow()/60*truth(c.state == dosing || c.state == testDose), 0.05, 0)
	return f
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func (c *Controller) info2(q plant.Probe) Frame {
	f := frame(6, info2PGN)
	f.Data[2] = byte(max(0, math.Round(q.LineCelsius+40)))
	return f
}

// supply is DEF supply information, every second: speed, drive and the diverter valve.
func (c *Controller) supply(q plant.Probe) Frame {
	f := frame(6, supplyPGN)
	put(f.Data[0:], q.Revolution*1.002, 0.5, 0)
	f.Data[2] = byte(math.Round(c.world.Out.Drive * 100 / 0.4))
	f.Data[3] = byte(250 * truth(c.world.Out.Return))
	return f
}

func (c *Controller) tank(q plant.Probe) Frame {
	f := frame(6, tankPGN)
	f.Data[0] = byte(max(0, min(250, math.Round(q.Tank/25/0.4)))) // of 2.5 kg
	f.Data[1] = byte(max(0, math.Round(q.TankCelsius+40)))
	return f
}

func (c *Controller) dm1(plant.Probe) Frame {
	f := frame(6, dm1PGN)
	if c.code == 0 {
		f.Data = [8]byte{0, 0xff, 0, 0, 0, 0, 0xff, 0xff}
		return f
	}
	spn, fmi := c.code>>5, byte(c.code&31)
	f.Data = [8]byte{0x04, 0xff, byte(spn), byte(spn >> 8), byte(spn>>16)<<5 | fmi, 1, 0xff, 0xff}
	return f
}
