// Package hydraulic is the bench's fluid circuit as lumped differential equations: reservoir,
// suction hose, pump ports, line with compliance and trapped air, return restriction with its
// check valve, pulsed dosing valve, vent, relief and leaks.
//
// State is what is conserved: kilograms of liquid in each place and the amount of gas in the
// line. Pressure follows from them by an algebraic equation of state, so the liquid balance is
// exact whatever the step size. Orifices: Q = CdA sqrt(2 dp / rho); build-up dp/dt = sum Q / C
// (standard hydraulics, e.g. Merritt, Hydraulic Control Systems; from memory).
//
// Everything is SI: Pa, m3, kg, s, K. Pressures are absolute unless a name says gauge.
//
// It does not know motors, valves' coils, sensors or CAN (packages unit and rig), and it does
// not resolve waves: below about 5 ms a 3 m hose has water hammer that is not modelled here.
package hydraulic
