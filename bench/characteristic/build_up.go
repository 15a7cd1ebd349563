package characteristic

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Names of the characteristics of how the unit builds pressure.
const (
	FillPressure = "fill_pressure"
	PrimeTime    = "prime_time"
	RiseTime     = "rise_time"
	Overshoot    = "overshoot"
	SettlingTime = "settling_time"
)

var build = []Characteristic{
	{Name: FillPressure, Unit: "bar",
		Text:  "pressure while priming pushes the air out through the return: what its check valve opens at",
		Steps: []scenario.Kind{scenario.Prime}, Channels: []scenario.AnyOf{pressure},
		Possible: gauge},
	{Name: PrimeTime, Unit: "s", Text: "pump on until the pressure is reached and stays",
		Steps: []scenario.Kind{scenario.Prime}, Channels: []scenario.AnyOf{pressure}, Commands: []rig.Command{rig.SetPumpDrive},
		Possible: elapsed},
	{Name: RiseTime, Unit: "s", Text: "10 % to 90 % of the step to nominal pressure",
		Steps: []scenario.Kind{scenario.Pressurise}, Channels: []scenario.AnyOf{pressure},
		Possible: elapsed},
	{Name: Overshoot, Unit: "%", Text: "highest pressure above nominal after the step, of the step",
		Steps: []scenario.Kind{scenario.Pressurise}, Channels: []scenario.AnyOf{pressure},
		Possible: amount("it counts from the level upwards")},
	{Name: SettlingTime, Unit: "s", Text: "start of the step to nominal until the last entry into the band",
		Steps: []scenario.Kind{scenario.Pressurise}, Channels: []scenario.AnyOf{pressure},
		Possible: elapsed},
}
