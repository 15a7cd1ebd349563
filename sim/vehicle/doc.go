// Package vehicle is a simulated truck on its bus: key cycles, engine, exhaust temperatures, dosing demand,
// a DEF supply unit with its faults, and the traffic of the other controllers, as frames in the order of
// their times. The same options give the same bytes.
//
// A Vehicle is a can.Source that ends (a recording being made), and a can.Process that takes part in a live
// bus. It sends; never put it on a real vehicle's bus.
//
// The unit's hydraulics are coarser than sim's bench (lumped line, one compliance, quasi-steady pump),
// stepped every 50 ms, with the figures of the invented reference unit; bytes are laid out here by hand
// after J1939-71 and not by the codec under test. All values are invented.
//
// What it does not do: arbitration and bus timing (frames come at their own times), requests and address
// claims, transport sessions other than DM1 by BAM, exhaust chemistry beyond one conversion figure.
package vehicle
