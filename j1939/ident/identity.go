package ident

import (
	"errors"
	"fmt"

	"holdfast/j1939/spn"
)

// PGNs that are read here.
const (
	PGNComponent uint32 = 65259
	PGNSoftware  uint32 = 65242
	PGNECU       uint32 = 64965
	PGNVehicle   uint32 = 65260
	PGNHours     uint32 = 65253
)

// Groups returns all identification groups, in the order in which a tool requests them.
func Groups() []uint32 { return []uint32{PGNComponent, PGNSoftware, PGNECU, PGNVehicle, PGNHours} }

// ErrShort says that the data is too short for the layout.
var ErrShort = errors.New("data too short")

// Component is PGN 65259.
type Component struct {
	Make   Text   `json:"make"`
	Model  Text   `json:"model"`
	Serial Text   `json:"serial_number"`
	Unit   Text   `json:"unit_number"`
	Others []Text `json:"others,omitempty"` // fields that the standard does not know
}

// DecodeComponent reads PGN 65259.
func DecodeComponent(data []byte) Component {
	var c Component
	c.Others = assign(Fields(data), &c.Make, &c.Model, &c.Serial, &c.Unit)
	return c
}

// Software is PGN 65242.
type Software struct {
	Stated uint8  `json:"stated"` // number of fields that the sender says there are; above 250: it does not say
	IDs    []Text `json:"identifications"`
}

// DecodeSoftware reads PGN 65242. All fields are returned, whatever number the first byte states.
func DecodeSoftware(data []byte) (Software, error) {
	if len(data) == 0 {
		return Software{}, fmt.Errorf("decode software identification: %w", ErrShort)
	}
	return Software{Stated: data[0], IDs: Fields(data[1:])}, nil
}

// ECU is PGN 64965. Older senders end after the type or the manufacturer.
type ECU struct {
	PartNumber   Text   `json:"part_number"`
	Serial       Text   `json:"serial_number"`
	Location     Text   `json:"location"`
	Type         Text   `json:"type"`
	Manufacturer Text   `json:"manufacturer"`
	HardwareID   Text   `json:"hardware_id"`
	Made         Text   `json:"date_of_manufacture"`
	Others       []Text `json:"others,omitempty"`
}

// DecodeECU reads PGN 64965.
func DecodeECU(data []byte) ECU {
	var e ECU
	e.Others = assign(Fields(data), &e.PartNumber, &e.Serial, &e.Location, &e.Type, &e.Manufacturer,
		&e.HardwareID, &e.Made)
	return e
}

// Vehicle is PGN 65260.
type Vehicle struct {
	VIN    Text   `json:"vin"`
	Others []Text `json:"others,omitempty"`
}

// DecodeVehicle reads PGN 65260.
func DecodeVehicle(data []byte) Vehicle {
	var v Vehicle
	v.Others = assign(Fields(data), &v.VIN)
	return v
}

// Hours is PGN 65253. Its JSON has null for a number that is not valid, and the status beside it.
type Hours struct {
	Hours             float64 // h; 0 when its status is not valid
	HoursStatus       spn.Status
	Revolutions       float64 // r; 0 when its status is not valid
	RevolutionsStatus spn.Status
}

// DecodeHours reads PGN 65253.
func DecodeHours(data []byte) (Hours, error) {
	if len(data) < 8 {
		return Hours{}, fmt.Errorf("decode hours of %d bytes, needs 8: %w", len(data), ErrShort)
	}
	var h Hours
	group := spn.PGN(PGNHours)
	_, h.Hours, h.HoursStatus = group.Parameter(247).Decode(data)
	_, h.Revolutions, h.RevolutionsStatus = group.Parameter(249).Decode(data)
	return h, nil
}

// Identity is everything one controller has reported about itself. A nil field was not reported.
type Identity struct {
	Component *Component `json:"component,omitempty"`
	Software  *Software  `json:"software,omitempty"`
	ECU       *ECU       `json:"ecu,omitempty"`
	Vehicle   *Vehicle   `json:"vehicle,omitempty"`
	Hours     *Hours     `json:"hours,omitempty"`
}

// Take keeps what a message of the controller says; later ones replace earlier ones. It returns false, and
// keeps nothing, when the message is of another group or cannot be read.
func (i *Identity) Take(pgn uint32, data []byte) bool {
	switch pgn {
	case PGNComponent:
		c := DecodeComponent(data)
		i.Component = &c
	case PGNECU:
		e := DecodeECU(data)
		i.ECU = &e
	case PGNVehicle:
		v := DecodeVehicle(data)
		i.Vehicle = &v
	case PGNSoftware:
		s, err := DecodeSoftware(data)
		if err != nil {
			return false
		}
		i.Software = &s
	case PGNHours:
		h, err := DecodeHours(data)
		if err != nil {
			return false
		}
		i.Hours = &h
	default:
		return false
	}
	return true
}

// Empty says whether the controller has reported nothing.
func (i *Identity) Empty() bool { return *i == Identity{} }
