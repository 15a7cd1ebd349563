package rig

// OtherSender is a node that shares the bench's bus and that no channel reads: a power supply with a CAN
// interface, a display. It may send what it likes but for signs of a vehicle.
type OtherSender struct {
	Address uint8
	What    string // in a person's words
}
