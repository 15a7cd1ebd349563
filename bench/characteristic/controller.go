package characteristic

// Names of the characteristics of what the unit's own controller says.
const (
	FaultCodes = "fault_codes"
)

var controller = []Characteristic{
	{Name: FaultCodes, Text: "trouble codes active at the end (DM1)", Controller: true,
		Possible: amount("a count")},
}
