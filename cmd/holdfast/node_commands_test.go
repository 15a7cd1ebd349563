package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/diag"
	"holdfast/j1939/survey"
	"holdfast/j1939/survey/surveytest"
)

var pumpFault = diag.Faults{DTCs: []diag.DTC{{SPN: 4334, FMI: 18, Count: 3, Version: diag.Version4}}}

func clearOn(t *testing.T, bus *virtual.Bus, o faultsOptions, typed string) (status int, out string) {
	t.Helper()
	var b, e bytes.Buffer
	var s survey.Survey
	o.from, o.clear = "can0", true
	err := o.clearAll(context.Background(), bus.Open("tool"), &s, strings.NewReader(typed), &b, &e)
	return statusOf(err), b.String() + e.String() + messageOf(err)
}

func TestFaultsClear(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	kept := filepath.Join(os.Getenv("XDG_DATA_HOME"), "holdfast", clearedFile)
	bus := simbench.NewBus()
	unit, bystander := surveytest.NewECU(61, pumpFault), surveytest.NewECU(33, diag.Faults{})
	bus.Attach(unit)
	bus.Attach(bystander)

	status, out := clearOn(t, bus, faultsOptions{}, "no\n")
	require.Equal(t, exitDone, status, out)
	require.Contains(t, out, "SPN 4334 FMI 18, 3 times")
	require.Contains(t, out, "not cleared")
	require.Zero(t, unit.Cleared)
	require.NoFileExists(t, kept)

	status, out = clearOn(t, bus, faultsOptions{}, "yes\n")
	require.Equal(t, exitDone, status, out)
	require.Equal(t, 1, unit.Cleared)
	require.Zero(t, bystander.Cleared, "it has no codes")
	require.Contains(t, out, "DM11, clear active codes: acknowledged")
	require.Contains(t, out, "active: no fault")
	text, err := os.ReadFile(kept)
	require.NoError(t, err)
	var line survey.Cleared
	require.NoError(t, json.Unmarshal(text, &line))
	require.Equal(t, "acknowledged", line.Answer)
	require.EqualValues(t, 4334, line.Before[0].Codes[0].SPN)
	require.Empty(t, line.After[0].Codes)
}

func TestFaultsClear_Refused(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	bus := simbench.NewBus()
	unit := surveytest.NewECU(61, pumpFault)
	unit.Refuse = true
	bus.Attach(unit)
	status, out := clearOn(t, bus, faultsOptions{yes: true}, "")
	require.Equal(t, exitFail, status, out)
	require.Contains(t, out, "not supported")
}

// An engine that runs: nothing is sent at all. One that is started while the person thinks: nothing is
// cleared.
func TestFaultsClear_EngineRuns(t *testing.T) {
	bus := simbench.NewBus()
	unit := surveytest.NewECU(61, pumpFault)
	bus.Attach(unit)
	bus.Attach(&surveytest.Engine{Raw: 5600})
	port := bus.Open("tool")
	var s survey.Survey
	err := (&faultsOptions{clear: true, yes: true}).clearAll(context.Background(), port, &s, strings.NewReader(""),
		&bytes.Buffer{}, &bytes.Buffer{})
	require.Equal(t, exitTrip, statusOf(err))
	require.Contains(t, messageOf(err), "700")
	require.Zero(t, port.Stats().Sent)

	bus = simbench.NewBus()
	unit = surveytest.NewECU(61, pumpFault)
	bus.Attach(unit)
	status, out := clearOnWhile(t, bus, func() { bus.Attach(&surveytest.Engine{Raw: 5600}) })
	require.Equal(t, exitTrip, status, out)
	require.Zero(t, unit.Cleared)
}

// clearOnWhile types yes after something has happened.
func clearOnWhile(t *testing.T, bus *virtual.Bus, happens func()) (int, string) {
	t.Helper()
	var out bytes.Buffer
	var s survey.Survey
	err := (&faultsOptions{clear: true}).clearAll(context.Background(), bus.Open("tool"), &s,
		&lateYes{happens: happens}, &out, &bytes.Buffer{})
	return statusOf(err), out.String() + messageOf(err)
}

type lateYes struct{ happens func() }

func (l *lateYes) Read(b []byte) (int, error) {
	l.happens()
	return copy(b, "yes\n"), nil
}

func TestScan_Simulated(t *testing.T) {
	status, out, errOut := holdfast("scan", "sim")
	require.Equal(t, exitDone, status, errOut)
	require.Contains(t, out, "address 61 (0x3D): engine emission aftertreatment system, global")
	require.Contains(t, out, "active: no fault")
	require.Contains(t, errOut, "as address 250", "249 is the harness's on the simulated bench")

	status, out, errOut = holdfast("scan", "sim", "--passive", "--json")
	require.Equal(t, exitDone, status, errOut)
	require.NotContains(t, errOut, "as address", "it sends nothing")
	var all struct{ Controllers []survey.Controller }
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	require.EqualValues(t, 61, all.Controllers[0].Address)
	require.EqualValues(t, 69, all.Controllers[0].Fields.Function)
}

// expected.json of the recording: four codes from the engine, MIL on.
func TestFaults_Recording(t *testing.T) {
	status, out, errOut := holdfast("faults", recorded.File(t, "scr-engine-idle/traffic.log"))
	require.Equal(t, exitDone, status, errOut)
	for _, want := range []string{"SPN 980 FMI 9", "SPN 3216 FMI 20", "SPN 609 FMI 9", "SPN 609 FMI 12",
		"active: MIL on"} {
		require.Contains(t, out, want)
	}
}

// Published (C16): the same bytes are SPN 1208 in version 1 and another one in version 3.
func TestFaults_Conversion(t *testing.T) {
	path := filepath.Join(t.TempDir(), "old.log")
	require.NoError(t, os.WriteFile(path, []byte("(1.0) can0 18FECA05#04FF0097038AFFFF\n"), 0o644))
	status, out, errOut := holdfast("faults", path, "--conversion", "5=1")
	require.Equal(t, exitDone, status, errOut)
	require.Contains(t, out, "SPN 1208 FMI 3, 10 times (old form, read as version 1")
	_, out, _ = holdfast("faults", path)
	require.Contains(t, out, "SPN 38656 FMI 3, 10 times (old form, read as version 3")
	status, _, _ = holdfast("faults", path, "--conversion", "9")
	require.Equal(t, exitUsage, status)
}

func TestRequest_Simulated(t *testing.T) {
	for _, c := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"65110", "--to", "61"}, exitDone, "(1761)"},
		{[]string{"0xFE56"}, exitDone, "(1761)"},
		{[]string{"65259", "--to", "0x3D"}, exitFail, "not supported"},
		{[]string{"65259"}, exitFail, "nobody answered"},
		{[]string{"65259", "--to", "100"}, exitFail, "no answer"},
		{[]string{"65235"}, exitUsage, "faults sim --clear"},
		{[]string{"61185"}, exitUsage, "low byte must be 0"},
		{[]string{"65259", "--to", "254"}, exitUsage, "not a controller's address"},
		{[]string{"x"}, exitUsage, "not a PGN"},
	} {
		status, out, errOut := holdfast(append([]string{"request", "sim"}, c.args...)...)
		require.Equal(t, c.status, status, "%v: %s", c.args, errOut)
		require.Contains(t, out+errOut, c.says)
	}
}

func someFrames(n int) []can.Frame {
	frames := make([]can.Frame, n)
	for i := range frames {
		frames[i] = can.Frame{Frame: surveytest.Frame(0x18FEEE00, byte(i), byte(i>>8), byte(i>>16), 4, 5, 6, 7, 8),
			Time: simbench.Epoch.Add(time.Duration(i) * 10 * time.Millisecond)}
	}
	return frames
}

const frameBytes = 60 // of one frame in a pcapng file, with its direction

// The newest frames are there, whole, in as many files as were asked for; nothing is written over.
func TestRecord_Rotation(t *testing.T) {
	out := filepath.Join(t.TempDir(), "a [b]", "truck.pcapng")
	require.NoError(t, os.Mkdir(filepath.Dir(out), 0o755))
	r, err := newRotation(out, "can0", frameBytes*100, 3)
	require.NoError(t, err)
	require.NoError(t, r.Write(someFrames(950)))
	require.NoError(t, r.Close())
	names, err := os.ReadDir(filepath.Dir(out))
	require.NoError(t, err)
	var got []can.Frame
	for _, n := range names {
		got = append(got, readAll(t, filepath.Join(filepath.Dir(out), n.Name()))...)
	}
	require.Len(t, names, 3)
	require.Equal(t, someFrames(950)[700:], got)
	_, err = newRotation(out, "can0", frameBytes*100, 3)
	require.ErrorContains(t, err, "never overwritten")

	one := filepath.Join(t.TempDir(), "one.pcapng")
	r, err = newRotation(one, "can0", frameBytes*100, 1)
	require.NoError(t, err)
	require.ErrorIs(t, r.Write(someFrames(950)), errFull)
	require.NoError(t, r.Close())
	require.Equal(t, 100, r.Recorded())
	require.Equal(t, someFrames(100), readAll(t, one))
	info, err := os.Stat(one)
	require.NoError(t, err)
	require.InDelta(t, 100*frameBytes, info.Size(), 200, "--mb is what the files have")
	_, err = newRotation(one, "can0", frameBytes*100, 1)
	require.ErrorContains(t, err, "never overwritten")
}

func readAll(t *testing.T, path string) (all []can.Frame) {
	t.Helper()
	reader, err := capture.Open(path)
	require.NoError(t, err)
	defer reader.Close()
	frames := make([]can.Frame, 256)
	for {
		n, err := reader.Receive(frames, 0)
		all = append(all, frames[:n]...)
		if err != nil {
			return all
		}
	}
}

func TestRecord_Usage(t *testing.T) {
	for _, args := range [][]string{
		{"can0"}, {"can0", "--out", "x.log"}, {"can0", "--out", "x.pcapng", "--keep", "0"}, {"can0", "--out",
			"x.pcapng", "--mb", "0"},
	} {
		status, _, errOut := holdfast(append([]string{"record"}, args...)...)
		require.Equal(t, exitUsage, status, errOut)
	}
}

// Every data frame goes out, at its own distance from the first.
func TestPlay_KeepsTiming(t *testing.T) {
	path := filepath.Join(t.TempDir(), "r.pcapng")
	w, err := capture.Create(path)
	require.NoError(t, err)
	frames := someFrames(500)
	for _, f := range frames {
		require.NoError(t, w.Write(f, capture.Inbound))
	}
	require.NoError(t, w.Write(can.Frame{Frame: einride.Frame{ID: 4, Length: 8}, Time: frames[499].Time,
		Error: true}, capture.Inbound))
	require.NoError(t, w.Close())
	reader, err := capture.Open(path)
	require.NoError(t, err)
	bus := virtual.New(simbench.Epoch.Add(time.Hour), simbench.Bitrate)
	ear := bus.Open("ear")
	p := newPlayer(bus.Open("player"), -1)
	require.NoError(t, p.play(context.Background(), reader))
	require.Equal(t, 500, p.sent)
	require.Equal(t, 1, p.skipped)
	heard := make([]can.Frame, 1000)
	bus.Advance(bus.Now().Add(time.Second))
	n, err := ear.Receive(heard, bus.Now())
	require.NoError(t, err)
	require.Equal(t, 500, n)
	for i := range n {
		require.Equal(t, frames[i].Frame, heard[i].Frame)
		require.Equal(t, frames[i].Time.Sub(frames[0].Time), heard[i].Time.Sub(heard[0].Time))
	}
}

func TestPlay_RefusesAVehicle(t *testing.T) {
	bus := simbench.NewBus()
	bus.Attach(&surveytest.Engine{Raw: 5600})
	port := bus.Open("player")
	p := newPlayer(port, -1)
	err := p.listen(context.Background(), simbench.Epoch.Add(time.Second))
	require.Equal(t, exitTrip, statusOf(err))
	require.Zero(t, port.Stats().Sent)
}
