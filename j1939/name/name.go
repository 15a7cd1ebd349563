package name

import (
	"encoding/binary"
	"fmt"
)

// NAME is the number as it is compared: lower wins.
type NAME uint64

// Bytes in an address claim.
const Length = 8

// Fields are a NAME taken apart. Each is limited by its width.
type Fields struct {
	Identity              uint32 `json:"identity_number"`         // 21 bits, given by the manufacturer
	Manufacturer          uint16 `json:"manufacturer_code"`       // 11 bits
	ECUInstance           uint8  `json:"ecu_instance"`            // 3 bits
	FunctionInstance      uint8  `json:"function_instance"`       // 5 bits
	Function              uint8  `json:"function"`                // 8 bits
	Reserved              bool   `json:"reserved_bit_set"`        // 1 bit, 0 is sent; seen set in the field
	VehicleSystem         uint8  `json:"vehicle_system"`          // 7 bits
	VehicleSystemInstance uint8  `json:"vehicle_system_instance"` // 4 bits
	IndustryGroup         uint8  `json:"industry_group"`          // 3 bits
	// Arbitrary address capable: may move to another address.
	Arbitrary bool `json:"arbitrary_address_capable"`
}

// where is the place of each number in the 64 bits.
var where = [...]struct {
	name         string
	shift, width uint
}{
	{"identity number", 0, 21}, {"manufacturer code", 21, 11}, {"ECU instance", 32, 3},
	{"function instance", 35, 5}, {"function", 40, 8}, {"vehicle system", 49, 7},
	{"vehicle system instance", 56, 4}, {"industry group", 60, 3},
}

func (f *Fields) numbers() [len(where)]uint64 {
	return [...]uint64{uint64(f.Identity), uint64(f.Manufacturer), uint64(f.ECUInstance),
		uint64(f.FunctionInstance), uint64(f.Function), uint64(f.VehicleSystem),
		uint64(f.VehicleSystemInstance), uint64(f.IndustryGroup)}
}

// New composes a NAME. A value that does not fit its field is refused, never masked.
func New(f Fields) (NAME, error) {
	var n uint64
	for i, v := range f.numbers() {
		w := where[i]
		if v >= 1<<w.width {
			return 0, fmt.Errorf("compose NAME: %s %d does not fit %d bits (0 to %d)", w.name, v, w.width,
				1<<w.width-1)
		}
		n |= v << w.shift
	}
	if f.Reserved {
		n |= 1 << 48
	}
	if f.Arbitrary {
		n |= 1 << 63
	}
	return NAME(n), nil
}

// Decode reads the eight bytes of an address claim; false when there are fewer.
func Decode(b []byte) (NAME, bool) {
	if len(b) < Length {
		return 0, false
	}
	return NAME(binary.LittleEndian.Uint64(b)), true
}

// Bytes are the NAME as it is sent.
func (n NAME) Bytes() (b [Length]byte) {
	binary.LittleEndian.PutUint64(b[:], uint64(n))
	return b
}

// Fields takes the NAME apart.
func (n NAME) Fields() Fields {
	at := func(i int) uint64 { return uint64(n) >> where[i].shift & (1<<where[i].width - 1) }
	return Fields{Identity: uint32(at(0)), Manufacturer: uint16(at(1)), ECUInstance: uint8(at(2)),
		FunctionInstance: uint8(at(3)), Function: uint8(at(4)), VehicleSystem: uint8(at(5)),
		VehicleSystemInstance: uint8(at(6)), IndustryGroup: uint8(at(7)),
		Reserved: n>>48&1 != 0, Arbitrary: n.Arbitrary()}
}

// Arbitrary says that the node may move to another address.
func (n NAME) Arbitrary() bool { return n>>63 != 0 }

// String is the number in hexadecimal, most significant digit first.
func (n NAME) String() string { return fmt.Sprintf("%016X", uint64(n)) }
