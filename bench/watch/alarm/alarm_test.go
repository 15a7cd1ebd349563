package alarm_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/bench/watch/alarm"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

const goodAlarms = `holdfast: alarms/1
alarms:
  - name: pressure low
    when: doser pressure < 8 bar for 5 s while dosing
    level: act
  - when: supply voltage <= 22 V while engine running and moving
  - when: doser pressure is lost for 2 s while engine running
  - when: pump drive > 80 % for 1 min
  - when: dosing rate >= 7200 g/h
`

func TestParse(t *testing.T) {
	list, err := alarm.Parse("mine.yaml", []byte(goodAlarms))
	require.NoError(t, err)
	require.Len(t, list, 5)
	require.Equal(t, "pressure low", list[0].Name)
	require.Equal(t, watch.Act, list[0].Level)
	require.Equal(t, watch.Watch, list[1].Level)
	require.Equal(t, "supply voltage <= 22 V while engine running and moving", list[1].Name)
}

// Every mistake is answered at its line and column, with what would do, in the words of the scenario
// reader.
func TestParse_Problems(t *testing.T) {
	for _, c := range []struct{ rule, want string }{
		{"doser presure < 8 " +
			"bar", `x.yaml:3:11: when: no signal is called "doser presure"; did you mean doser pressure?`},
		{"doser pressure < 8", "x.yaml:3:28: when: 8: which unit? write 8 bar"},
		{"doser pressure < 8 V", "x.yaml:3:28: when: V is a unit of voltage; pressure is wanted here"},
		{"doser pressure 8 bar",
			`x.yaml:3:11: when: no signal is called "doser pressure 8 bar"; did you mean doser pressure?`},
		{"doser pressure < 8 bar for 5", "x.yaml:3:38: when: 5: which unit? write 5 s"},
		{"doser pressure < 8 bar for 50 h", "x.yaml:3:38: when: 50 h: from 0 s to 24 h"},
		{"doser pressure < 8 bar while " +
			"doseing", `x.yaml:3:40: when: no condition is called "doseing"; did you mean dosing?`},
		{"doser pressure is gone", `x.yaml:3:29: when: "gone"; after "is" comes "lost"`},
		{"doser pressure is lost today", `x.yaml:3:34: when: "today" at the end`},
	} {
		_, err := alarm.Parse("x.yaml", []byte("holdfast: alarms/1\nalarms:\n  - when: "+c.rule+"\n"))
		require.ErrorContains(t, err, c.want, c.rule)
		require.Equal(t, 1, strings.Count(err.Error(), "x.yaml:"), "one mistake, one answer: %v", err)
	}
	_, err := alarm.Parse("x.yaml", []byte("holdfast: alarms/1\nalarms:\n  - {name: a, level: "+
		"red}\n  - {when: tank level < 5 V}\n"))
	require.ErrorContains(t, err, "x.yaml:3:")
	require.ErrorContains(t, err, "x.yaml:4:")
	_, err = alarm.Parse("x.yaml", []byte("holdfast: alarms/1\nalarms: none\n"))
	require.Error(t, err)
	_, err = alarm.Parse("x.yaml", nil)
	require.Error(t, err)
}

func FuzzParse(f *testing.F) {
	f.Add(goodAlarms)
	f.Add("holdfast: alarms/1\nalarms:\n  - when: doser pressure < 8 bar for  while \n")
	f.Add("holdfast: alarms/1\nalarms:\n  - when: \"\xff is \"\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := alarm.Parse("fuzz.yaml", []byte(text))
		if err == nil {
			require.NotEmpty(t, list)
			w := watch.New(watch.Options{}, nil)
			list.Step(w, w.View(0), func(watch.Event) {})
			require.Len(t, list.Raised(), 0, "nothing is heard, so nothing is raised")
		}
	})
}

// A rule of bank 2 looks at that bank's unit and asks its own conditions of it; one without a bank looks at the
// first unit. NOx and road speed have their units.
func TestRules_OfBankTwo(t *testing.T) {
	list, err := alarm.Parse("x.yaml", []byte(`holdfast: alarms/1
alarms:
  - when: bank 2 doser pressure < 8 bar while dosing
  - when: doser pressure < 8 bar while dosing
  - when: bank 1 doser pressure < 8 bar
  - when: bank 2 NOx after > 500 ppm
  - when: NOx after > 500 ppm
  - when: vehicle speed > 80 km/h
  - when: vehicle speed < 30 m/s
`))
	require.NoError(t, err)
	w := watch.New(watch.Options{}, nil)
	frame := func(id uint32, data ...byte) can.Frame {
		f := can.Frame{Time: clock.Instant(time.Hour)}
		f.ID, f.IsExtended, f.Length, f.Data = id, true, 8, [8]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}
		copy(f.Data[:], data)
		return f
	}
	w.Feed([]can.Frame{
		frame(0x0CF0233D, 0xD0, 7, 0xF2, 0xFF, 0xFF, 125), // PGN 61475: dosing, 1000 kPa absolute
		frame(0x0CF0263D, 0xD0, 7, 0xF2, 0xFF, 0xFF, 100), // PGN 61478, bank 2: dosing, 800 kPa absolute
		frame(0x0CF00F52, 0x00, 0x20),                     // PGN 61455: NOx after, 0.05 ppm a bit - 200: 209.6 ppm
		frame(0x18FEF121, 0xFF, 0x00, 0x55),               // PGN 65265: wheel speed, 1/256 km/h a bit: 85 km/h
	})
	list.Step(w, w.View(clock.Instant(time.Hour)), func(watch.Event) {})
	require.Equal(t, []string{"bank 2 doser pressure < 8 bar while dosing", "vehicle speed > 80 km/h",
		"vehicle speed < 30 m/s"}, list.Raised())
	for rule, want := range map[string]string{
		"bank 3 doser pressure < 8 bar":  `x.yaml:3:16: when: bank "3"; there are bank 1 and bank 2`,
		"bank 2 supply voltage < 20 V":   `x.yaml:3:11: when: supply voltage is the vehicle's and of no bank; leave out "bank 2"`,
		"NOx after > 500 %":              "% is a unit of ratio; content is wanted here",
		"bank 2 dooser pressure < 8 bar": "did you mean doser pressure?",
	} {
		_, err := alarm.Parse("x.yaml", []byte("holdfast: alarms/1\nalarms:\n  - when: "+rule+"\n"))
		require.ErrorContains(t, err, want)
	}
}
