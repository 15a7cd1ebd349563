package mdf

import (
	"encoding/binary"
	"math"
	"strings"
)

// kind is what the records of a channel group are.
type kind uint8

const (
	other      kind = iota // nothing that is read here
	dataFrame              // CAN_DataFrame
	remote                 // CAN_RemoteFrame
	errorFrame             // CAN_ErrorFrame
	variable               // signal data of variable length: no channels of its own
)

// group is one channel group: how to find a frame's parts in its records.
type group struct {
	kind   kind
	record uint64 // its record's identifier
	size   int    // bytes of a record after the identifier; unused for variable

	time                           field // with its conversion to seconds
	id, extended, length, dlc, bus field
	fd                             field
	data                           field
	dataKind                       dataKind
	vlsd                           int64       // link of the group with the data bytes; 0: none
	signal                         *signalData // data bytes of a sorted file
	offset                         uint64      // variable: where the next value stands
}

type dataKind uint8

const (
	noData  dataKind = iota
	inside           // data bytes stand in the record
	byGroup          // the record holds an offset into the values of a variable group
	byBlock          // the record holds an offset into a chain of signal data
)

// field is a channel's place in a record. bits is 0 where the group has no such channel.
type field struct {
	byte, bit, bits int
	bigEndian       bool
	float, signed   bool
	factor, offset  float64 // linear conversion; factor 0: none
}

// raw takes the bits out of a record; 0 where it has no such field.
func (f *field) raw(record []byte) uint64 {
	if f.bits == 0 {
		return 0
	}
	last := f.byte + (f.bit+f.bits+7)/8
	if last > len(record) || f.bits > 64 {
		return 0
	}
	var word uint64
	bytes := record[f.byte:last]
	for i := range bytes {
		b := bytes[len(bytes)-1-i]
		if f.bigEndian {
			b = bytes[i]
		}
		if i == 8 { // 64 bits that begin inside a byte: the lowest part is lost, no channel of a frame needs it
			break
		}
		word = word<<8 | uint64(b)
	}
	word >>= f.bit
	if f.bits < 64 {
		word &= 1<<f.bits - 1
	}
	return word
}

// value is the physical value: the time of a record in seconds.
func (f *field) value(record []byte) float64 {
	raw := f.raw(record)
	v := float64(raw)
	switch {
	case f.float && f.bits == 32:
		v = float64(math.Float32frombits(uint32(raw)))
	case f.float:
		v = math.Float64frombits(raw)
	case f.signed && f.bits > 0 && f.bits <= 64:
		v = float64(int64(raw<<(64-f.bits)) >> (64 - f.bits))
	}
	if f.factor != 0 {
		v = v*f.factor + f.offset
	}
	return v
}

// Channel kinds and data types of the standard (CN block).
const (
	channelVLSD   = 1
	channelMaster = 2
	syncTime      = 1

	typeUnsignedBig = 1
	typeSigned      = 2
	typeSignedBig   = 3
	typeFloat       = 4
	typeFloatBig    = 5

	groupVLSD = 1 // flag of a CG block
	busCAN    = 2 // of an SI block
)

// readGroup reads a channel group and its channels.
func (f *file) readGroup(at int64) (g *group, next int64, err error) {
	b, raw, err := f.meta(at, 6, 32, "CG")
	if err != nil {
		return nil, 0, err
	}
	g = &group{record: binary.LittleEndian.Uint64(raw)}
	g.size = int(binary.LittleEndian.Uint32(raw[24:])) + int(binary.LittleEndian.Uint32(raw[28:]))
	if binary.LittleEndian.Uint16(raw[16:])&groupVLSD != 0 {
		g.kind = variable
		return g, b.links[0], nil
	}
	if g.size <= 0 || g.size > maxMeta {
		return nil, 0, corrupt(at, "records of %d bytes", g.size)
	}
	isCAN, err := f.isCAN(b)
	if err != nil || !isCAN {
		return g, b.links[0], err
	}
	return g, b.links[0], f.readChannels(g, b.links[1], 0)
}

// isCAN reports whether the group's source is a CAN bus.
func (f *file) isCAN(cg block) (bool, error) {
	if cg.links[3] == 0 {
		return false, nil
	}
	_, raw, err := f.meta(cg.links[3], 3, 2, "SI")
	return err == nil && raw[1] == busCAN, err
}

// readChannels reads a chain of channels and those composed of them.
func (f *file) readChannels(g *group, at int64, depth int) error {
	for at != 0 {
		if depth > 3 {
			return corrupt(at, "channels composed of channels, four deep")
		}
		b, raw, err := f.meta(at, 8, 72, "CN")
		if err != nil {
			return err
		}
		name, err := f.text(b.links[2])
		if err != nil {
			return err
		}
		if err := f.place(g, b, raw, name); err != nil {
			return err
		}
		if b.links[1] != 0 {
			if composed, err := f.block(b.links[1], "CN", "CA"); err != nil {
				return err
			} else if composed.kind == "CN" {
				if err := f.readChannels(g, b.links[1], depth+1); err != nil {
					return err
				}
			}
		}
		at = b.links[0]
	}
	return nil
}

// place keeps a channel if a frame needs it.
func (f *file) place(g *group, b block, raw []byte, name string) error {
	c := field{byte: int(binary.LittleEndian.Uint32(raw[4:])), bit: int(raw[3]),
		bits: int(binary.LittleEndian.Uint32(raw[8:]))}
	if c.byte > maxMeta || c.bits > 8*maxMeta || c.bit > 7 {
		return corrupt(b.at, "channel %q stands at byte %d, %d bits", name, c.byte, c.bits)
	}
	switch raw[2] {
	case typeUnsignedBig:
		c.bigEndian = true
	case typeSigned:
		c.signed = true
	case typeSignedBig:
		c.signed, c.bigEndian = true, true
	case typeFloat:
		c.float = true
	case typeFloatBig:
		c.float, c.bigEndian = true, true
	}
	if raw[0] == channelMaster && raw[1] == syncTime {
		g.time = c
		return f.convert(&g.time, b.links[4])
	}
	structure, part, inStructure := strings.Cut(name, ".")
	switch structure {
	case "CAN_DataFrame":
		g.kind = dataFrame
	case "CAN_RemoteFrame":
		g.kind = remote
	case "CAN_ErrorFrame":
		g.kind = errorFrame
	}
	if !inStructure {
		part = name
	}
	return f.keep(g, c, part, raw[0], b.links[5])
}

func (f *file) keep(g *group, c field, part string, channelKind byte, data int64) (err error) {
	switch part {
	case "ID":
		g.id = c
	case "IDE":
		g.extended = c
	case "DataLength":
		g.length = c
	case "DLC":
		g.dlc = c
	case "BusChannel":
		g.bus = c
	case "EDL":
		g.fd = c
	case "DataBytes":
		g.data, g.dataKind = c, inside
		if channelKind != channelVLSD {
			return nil
		}
		target, err := f.block(data, "CG", "SD", "DZ", "DL", "HL")
		if err != nil {
			return err
		}
		if target.kind == "CG" {
			g.dataKind, g.vlsd = byGroup, data
			return nil
		}
		g.dataKind, g.signal = byBlock, &signalData{f: f}
		g.signal.pieces, err = f.chain(data)
		return err
	}
	return err
}

// convert reads a linear conversion; others are refused, since a time needs none.
func (f *file) convert(c *field, at int64) error {
	if at == 0 {
		return nil
	}
	_, raw, err := f.meta(at, 4, 24, "CC")
	if err != nil || raw[0] == 0 {
		return err
	}
	if raw[0] != 1 || len(raw) < 40 {
		return corrupt(at, "the time has a conversion of kind %d; 0 (none) and 1 (linear) are read", raw[0])
	}
	c.offset = math.Float64frombits(binary.LittleEndian.Uint64(raw[24:]))
	c.factor = math.Float64frombits(binary.LittleEndian.Uint64(raw[32:]))
	return nil
}
