package rig

// States that can be asked of a unit's own controller and that it reports, as the standard numbers them
// (SPN 4349 and SPN 4332, SAE J1939-71, by several public sources). What a unit does in each is its
// maker's choice.
const (
	StateDormant   = 0.0
	StatePreparing = 1.0 // prepares dosing readiness: builds up pressure
	StateDosing    = 2.0
	StatePurging   = 4.0
	StateShutoff   = 7.0
	StateService   = 9.0  // service test mode, dosing allowed
	StateStanding  = 10.0 // service test mode, dosing not allowed
	StatePriming   = 12.0 // pressure build-up
)
