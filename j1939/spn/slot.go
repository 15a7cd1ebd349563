package spn

import (
	_ "embed"
	"fmt"
	"strconv"
	"sync"
)

//go:embed data/slots.tsv
var slotsTable string

// SLOT is a scale, limits and offset that many parameters share; scaled test results (DM30) name theirs
// by its number.
type SLOT struct {
	Number uint16
	Name   string
	Scale  Scale
	Unit   string
	Bits   uint8
}

var slots = sync.OnceValue(loadSLOTs)

// FindSLOT returns the SLOT of that number; false when the table has none: it holds those of measured
// values of 8, 16 and 32 bits.
func FindSLOT(number uint16) (SLOT, bool) {
	s, ok := slots()[number]
	return s, ok
}

// loadSLOTs reads the embedded table; see load.
func loadSLOTs() map[uint16]SLOT {
	all := make(map[uint16]SLOT, 256)
	err := eachRow(slotsTable, 6, func(f []string) error {
		number, err := strconv.ParseUint(f[0], 10, 16)
		if err != nil {
			return err
		}
		scale, err := NewScale(f[2], f[4])
		if err != nil {
			return err
		}
		bits, err := strconv.ParseUint(f[5], 10, 7)
		all[uint16(number)] = SLOT{uint16(number), f[1], scale, f[3], uint8(bits)}
		return err
	})
	if err != nil {
		panic(fmt.Sprintf("spn: slots.tsv: %v", err))
	}
	return all
}
