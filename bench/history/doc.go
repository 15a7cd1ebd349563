// Package history says what several runs say together: how two runs differ and whether the difference
// is more than their uncertainty (Compare), how a characteristic moves over the months (Months), and how
// often the cause that was named is the one that was found (Rate). Pure.
//
// It reads no record and judges no unit.
package history
