// Package survey finds out who is on a J1939 bus and what each controller says of itself: address, NAME, identification,
// hours and trouble codes. It listens (Survey), or takes part in the bus and asks (Participant), and clears trouble
// codes when it is told to.
//
// Taking part sends. So a participant listens first, and refuses a bus on which its guard finds a vehicle alive, then
// and before every request. What the guard looks for is the caller's: this room knows no bench.
package survey
