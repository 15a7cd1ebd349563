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

// loadSLOTs reads the embedded table; a line that cannot be read is a broken program.
func loadSLOTs() map[uint16]SLOT {
	all := make(map[uint16]SLOT, 256)
	eachLine(slotsTable, func(line string) {
		f := fieldsOf(line, 6)
		scale, err := NewScale(f[2], f[4])
		bits, err2 := strconv.ParseUint(f[5], 10, 7)
		if err != nil || err2 != nil {
			panic(fmt.Sprintf("spn: slots.tsv: %q: %v, %v", line, err, err2))
		}
		number := uint16(leadingNumber(line))
		all[number] = SLOT{number, f[1], scale, f[3], uint8(bits)}
	})
	return all
}
