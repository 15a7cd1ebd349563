package scenario

import (
	"strings"

	"holdfast/bench/rig"
)

// AnyOf is channels of which one is enough.
type AnyOf []rig.Channel

// String returns the channels' names: "reference_pressure or line_pressure".
func (a AnyOf) String() string {
	names := make([]string, len(a))
	for i, c := range a {
		names[i] = c.String()
	}
	return strings.Join(names, " or ")
}
