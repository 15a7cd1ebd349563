package diag

import (
	"encoding/json"

	"holdfast/j1939/spn"
)

// MarshalJSON writes a code as every command does: count is null when the sender has none,
// assumed_conversion is there when the SPN rests on an assumed version.
func (d DTC) MarshalJSON() ([]byte, error) {
	o := struct {
		SPN     uint32   `json:"spn"`
		FMI     uint8    `json:"fmi"`
		Count   *uint8   `json:"count"`
		Assumed *Version `json:"assumed_conversion,omitempty"`
		Name    string   `json:"name"`
		Failure string   `json:"failure"`
	}{SPN: d.SPN, FMI: d.FMI, Name: spn.Name(d.SPN), Failure: spn.FMIText(d.FMI)}
	if d.Count != CountNotAvailable {
		o.Count = &d.Count
	}
	if d.Old() {
		o.Assumed = &d.Version
	}
	return json.Marshal(o)
}

// MarshalJSON writes the four lamps by name with state and flash.
func (l Lamps) MarshalJSON() ([]byte, error) {
	type lamp struct {
		State string `json:"state"`
		Flash string `json:"flash"`
	}
	all := map[string]lamp{}
	l.Each(func(name string, one Lamp) { all[name] = lamp{one.State.String(), one.Flash.String()} })
	return json.Marshal(all)
}
