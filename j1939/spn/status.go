package spn

// Status says what a transmitted parameter is. Only Valid carries a number; none of the
// others is ever clamped or turned into 0. Ranges: SAE J1939-71, table of transmitted signal ranges.
type Status uint8

const (
	Absent       Status = iota // never received: the zero value, so that nothing is valid by default
	Valid                      // a number inside the valid range
	NotAvailable               // the sender has no such parameter (all ones)
	ErrorState                 // the sender reports an error of the parameter (error indicator)
	Reserved                   // a raw value the standard gives no meaning
	Stale                      // was valid, but is older than its expected rate allows
	Specific                   // parameter specific indicator (top byte FB), or a state of a measured parameter
	OutOfRange                 // in the range of transmitted signals, outside the parameter's operating range
	Unknown                    // the parameter is not in the catalogue: nobody can say what its raw value is
)

// Counted is how many statuses a raw value of a known parameter can have: Unknown is none of them.
const Counted = int(Unknown)

var statusNames = [...]string{"absent", "valid", "not available", "error indicator", "reserved", "stale",
	"parameter specific", "out of range", "unknown"}

// String returns the status in the words used on screen and in JSON.
func (s Status) String() string {
	if int(s) < len(statusNames) {
		return statusNames[s]
	}
	return "unknown status"
}
