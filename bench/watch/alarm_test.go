package watch_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
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

func TestParseAlarms(t *testing.T) {
	list, err := watch.ParseAlarms("mine.yaml", []byte(goodAlarms))
	require.NoError(t, err)
	require.Len(t, list, 5)
	require.Equal(t, "pressure low", list[0].Name)
	require.Equal(t, watch.Act, list[0].Level)
	require.Equal(t, watch.Watch, list[1].Level)
	require.Equal(t, "supply voltage <= 22 V while engine running and moving", list[1].Name)
}

// Every mistake is answered at its line and column, with what would do, in the words of the scenario
// reader.
func TestParseAlarms_Problems(t *testing.T) {
	for _, c := range []struct{ rule, want string }{
		{"doser presure < 8 " +
			"bar", `x.yaml:3:11: when: no signal is called "doser presure"; did you mean doser pressure?`},
		{"doser pressure < 8", "x.yaml:3:28: when: 8: which unit? write 8 bar"},
		{"doser pressure < 8 V", "x.yaml:3:28: when: V is a unit of voltage; pressure is wanted here"},
		{"doser pressure 8 " +
			"bar",
			`x.yaml:3:11: when: no signal is called "doser pressure 8 bar"; did you mean doser pressure?`},
		{"doser pressure < 8 bar for 5", "x.yaml:3:38: when: 5: which unit? write 5 s"},
		{"doser pressure < 8 bar for 50 h", "x.yaml:3:38: when: 50 h: from 0 s to 24 h"},
		{"doser pressure < 8 bar while " +
			"doseing", `x.yaml:3:40: when: no condition is called "doseing"; did you mean dosing?`},
		{"doser pressure is gone", `x.yaml:3:29: when: "gone"; after "is" comes "lost"`},
		{"doser pressure is lost today", `x.yaml:3:34: when: "today" at the end`},
	} {
		_, err := watch.ParseAlarms("x.yaml", []byte("holdfast: alarms/1\nalarms:\n  - when: "+c.rule+"\n"))
		require.ErrorContains(t, err, c.want, c.rule)
		require.Equal(t, 1, strings.Count(err.Error(), "x.yaml:"), "one mistake, one answer: %v", err)
	}
	_, err := watch.ParseAlarms("x.yaml", []byte("holdfast: alarms/1\nalarms:\n  - {name: a, level: "+
		"red}\n  - {when: tank level < 5 V}\n"))
	require.ErrorContains(t, err, "x.yaml:3:")
	require.ErrorContains(t, err, "x.yaml:4:")
	_, err = watch.ParseAlarms("x.yaml", []byte("holdfast: alarms/1\nalarms: none\n"))
	require.Error(t, err)
	_, err = watch.ParseAlarms("x.yaml", nil)
	require.Error(t, err)
}

func FuzzParseAlarms(f *testing.F) {
	f.Add(goodAlarms)
	f.Add("holdfast: alarms/1\nalarms:\n  - when: doser pressure < 8 bar for  while \n")
	f.Add("holdfast: alarms/1\nalarms:\n  - when: \"\xff is \"\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := watch.ParseAlarms("fuzz.yaml", []byte(text))
		if err == nil {
			require.NotEmpty(t, list)
			w := watch.New(watch.Options{}, nil)
			list.Step(w, w.View(0), func(watch.Event) {})
			require.Len(t, list.Raised(), 0, "nothing is heard, so nothing is raised")
		}
	})
}
