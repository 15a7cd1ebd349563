package unit

// copper is the temperature at which copper's resistance goes to zero on a straight line, °C:
// R2/R1 = (234.5 + t2)/(234.5 + t1), IEC 60028.
const copper = 234.5

// CopperAt returns a copper winding's resistance at t °C from its value at 20 °C.
func CopperAt(r20, t float64) float64 { return r20 * (copper + t) / (copper + 20) }

// Coil is the directional valve's solenoid.
type Coil struct {
	R20     float64 // ohm at 20 °C; 18
	Rise    float64 // K per W at rest; from memory, small solenoids
	Time    float64 // s, thermal
	heat    float64 // K above the unit
	Current float64 // A
}

// Step sets the current for a voltage at the unit's temperature (°C) and warms the coil.
func (c *Coil) Step(dt, voltage, ambient float64) {
	c.Current = voltage / CopperAt(c.R20, ambient+c.heat)
	c.heat += (c.Rise*voltage*c.Current - c.heat) * dt / c.Time
}

// Heater is a resistive heater with a protection that opens when hot and closes again.
type Heater struct {
	R20      float64 // ohm; 4. Nickel chromium: less than 0.02 %/K, taken as constant
	Capacity float64 // J/K
	Loss     float64 // W/K
	Opens    float64 // K above the unit at which the protection opens; 0: it never closes
	Closes   float64 // K above the unit
	heat     float64
	open     bool
	Current  float64 // A
}

// Warms is the heat that the heater gives to unit and fluid now, W.
func (h *Heater) Warms() float64 { return h.Loss * h.heat }

// Step sets the current for a voltage and warms the heater.
func (h *Heater) Step(dt, voltage float64) {
	switch {
	case h.heat >= h.Opens:
		h.open = true
	case h.heat < h.Closes:
		h.open = false
	}
	h.Current = 0
	if !h.open {
		h.Current = voltage / h.R20
	}
	h.heat += dt * (voltage*h.Current - h.Loss*h.heat) / h.Capacity
}
