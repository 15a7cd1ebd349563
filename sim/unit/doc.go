// Package unit is the DEF supply unit under test, bare: motor with eccentric and diaphragm
// pump, directional valve with its coil, heater with its protection, pressure sensor on a
// ratiometric supply; and the faults that such units come back with.
//
// Motor and coils are resistances, constants and a moment of inertia (textbook permanent
// magnet motor; inductances are left out: their time constants are below a millisecond).
// The figures are those of a reference unit of our own invention, not any maker's data.
//
// It does not know CAN nor the bench's instruments (package rig), and it decides nothing: package controller does.
package unit
