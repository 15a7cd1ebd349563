//go:build lab

// The commands that take part in a bus, each as a process on an emulated controller, with a controller of
// ours on the other one.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/survey"
	"holdfast/j1939/survey/surveytest"
)

// onBus runs a process on an interface until the end of the test.
func onBus(t *testing.T, iface string, p can.Process) {
	t.Helper()
	port, err := socketcan.Open(iface, socketcan.Options{})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- can.Serve(ctx, port, p) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-ended)
		port.Close()
	})
}

// typed starts a holdfast whose person has typed that much already.
func typed(t *testing.T, in string, args ...string) *process {
	t.Helper()
	p := &process{Cmd: exec.Command(os.Getenv("HOLDFAST_BIN"), args...)}
	p.Stdin, p.Stdout, p.Stderr = strings.NewReader(in), &p.out, &p.errOut
	require.NoError(t, p.Start())
	return p
}

// TestLabNode_Scan: asked, the controller says all it has; --passive hears what comes by itself, and the kernel
// has sent nothing.
func TestLabNode_Scan(t *testing.T) {
	onBus(t, "can1", surveytest.Faulty())
	c := scanOnce(t)
	for n := 1; n < attempts && (c.Identity == nil || c.Identity.Component == nil || c.Identity.Software == nil ||
		c.Identity.ECU == nil || c.Identity.Vehicle == nil || c.Identity.Hours == nil); n++ {
		t.Log("a broadcast was cut off: the emulated computer was starved; once more")
		c = scanOnce(t)
	}
	require.Equal(t, "0000450000000007", c.NAME)
	require.Equal(t, "HF-2041", c.Identity.Component.Serial.String())
	require.Equal(t, "SUPPLY 1.4", c.Identity.Software.IDs[0].String())
	require.Equal(t, "Some Hardware ID", c.Identity.ECU.HardwareID.String(), "worked example F4")
	require.Equal(t, "3HAMKSTN0FL575012", c.Identity.Vehicle.VIN.String(), "worked example F3")
	require.InDelta(t, 76.7, c.Identity.Hours.Hours, 1e-9, "worked example B15")
	require.Len(t, c.Faults[0].Codes, 2)

	before := transmitted(t, "can0")
	scan := start(t, "scan", "can0", "--passive", "--for", "2500ms")
	require.Equal(t, exitDone, scan.status(t), scan.errOut.String())
	require.Contains(t, scan.out.String(), "address 61 (0x3D): no NAME was heard", "it claimed before")
	require.Contains(t, scan.out.String(), "SPN 4376 FMI 5")
	require.Zero(t, transmitted(t, "can0")-before)
}

func scanOnce(t *testing.T) survey.Controller {
	t.Helper()
	scan := start(t, "scan", "can0", "--json")
	require.Equal(t, exitDone, scan.status(t), scan.errOut.String())
	require.Contains(t, scan.errOut.String(), "as address 249")
	var all survey.File
	require.NoError(t, json.Unmarshal(scan.out.Bytes(), &all))
	require.Len(t, all.Controllers, 1)
	return all.Controllers[0]
}

// TestLabNode_Request: every way in which a request ends.
func TestLabNode_Request(t *testing.T) {
	onBus(t, "can1", surveytest.Faulty())
	for _, c := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"65259", "--to", "61"}, exitDone, "HF-2041"},                             // RTS/CTS
		{[]string{"65253", "--to", "0x3D"}, exitDone, "76.70 h"},                           // one frame
		{[]string{"64891", "--to", "61"}, exitFail, "not supported (negative"},             // NACK
		{[]string{"65282", "--to", "61"}, exitFail, "no answer"},                           // heard, and silent
		{[]string{"61184", "--to", "61"}, exitDone, "2000 bytes] Proprietary A: 00010203"}, // extended transport
	} {
		run := start(t, append([]string{"request", "can0"}, c.args...)...)
		require.Equal(t, c.status, run.status(t), "%v: %s", c.args, run.errOut.String())
		require.Contains(t, run.out.String()+run.errOut.String(), c.says, "%v", c.args)
	}
}

// TestLabNode_Faults: active codes by listening alone, the others by asking.
func TestLabNode_Faults(t *testing.T) {
	onBus(t, "can1", surveytest.Faulty())
	before := transmitted(t, "can0")
	run := start(t, "faults", "can0", "--for", "2500ms")
	require.Equal(t, exitDone, run.status(t), run.errOut.String())
	require.Contains(t, run.out.String(), "SPN 4334 FMI 18, 3 times")
	require.NotContains(t, run.out.String(), "SPN 1761")
	require.Zero(t, transmitted(t, "can0")-before)

	run = start(t, "faults", "can0", "--previous", "--freeze")
	require.Equal(t, exitDone, run.status(t), run.errOut.String())
	for _, want := range []string{"SPN 4376 FMI 5", "previously active", "SPN 1761 FMI 17, 2 times",
		"freeze frame of SPN 4334 FMI 18", "Engine Speed (190) 700"} {
		require.Contains(t, run.out.String(), want)
	}
}

// TestLabNode_Clear: asked and answered no, nothing is cleared; yes clears, is acknowledged, and is kept.
func TestLabNode_Clear(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	kept := filepath.Join(os.Getenv("XDG_DATA_HOME"), "holdfast", clearedFile)
	unit := surveytest.Faulty()
	onBus(t, "can1", unit)

	run := typed(t, "no\n", "faults", "can0", "--clear")
	require.Equal(t, exitDone, run.status(t), run.errOut.String())
	require.Contains(t, run.errOut.String(), "Type yes to clear")
	require.Contains(t, run.out.String(), "not cleared")
	require.NoFileExists(t, kept)

	run = typed(t, "yes\n", "faults", "can0", "--clear", "--previous")
	require.Equal(t, exitDone, run.status(t), run.errOut.String())
	require.Contains(t, run.out.String(), "DM11, clear active codes: acknowledged")
	require.Contains(t, run.out.String(), "DM3, clear previously active codes: acknowledged")
	require.Contains(t, run.out.String(), "active: no fault")
	text, err := os.ReadFile(kept)
	require.NoError(t, err)
	lines := bytes.Split(bytes.TrimSpace(text), []byte("\n"))
	require.Len(t, lines, 2)
	var entry survey.Cleared
	require.NoError(t, json.Unmarshal(lines[0], &entry))
	require.Equal(t, "acknowledged", entry.Answer)
	require.Equal(t, "3HAMKSTN0FL575012", entry.VIN)
	require.Len(t, entry.Before[0].Codes, 2)
	require.Empty(t, entry.After[0].Codes)
}

// TestLabNode_VehicleAlive: with an engine turning on the bus none of them sends a single frame.
func TestLabNode_VehicleAlive(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	onBus(t, "can1", &surveytest.Engine{Raw: 5600})
	recording := filepath.Join(t.TempDir(), "r.pcapng")
	writeRecording(t, recording, someFrames(10))
	before := transmitted(t, "can0")
	for _, args := range [][]string{{"scan", "can0"}, {"request", "can0", "65259"}, {"faults", "can0", "--previous"},
		{"faults", "can0", "--clear", "--yes"}, {"play", recording, "--bus", "can0"}} {
		run := start(t, args...)
		require.Equal(t, exitTrip, run.status(t), "%v: %s", args, run.errOut.String())
		require.Contains(t, run.errOut.String(), "a vehicle is alive on this bus", "%v", args)
	}
	require.Zero(t, transmitted(t, "can0")-before)
}

// TestLabNode_VehicleComesAlive: an engine that starts while a recording plays ends it.
func TestLabNode_VehicleComesAlive(t *testing.T) {
	recording := filepath.Join(t.TempDir(), "r.pcapng")
	writeRecording(t, recording, someFrames(3000)) // half a minute
	began := time.Now()
	run := start(t, "play", recording, "--bus", "vcan0")
	time.Sleep(3 * time.Second)
	onBus(t, "vcan0", &surveytest.Engine{Raw: 5600})
	require.Equal(t, exitTrip, run.status(t), run.errOut.String())
	require.Less(t, time.Since(began), 15*time.Second)
	require.Contains(t, run.errOut.String(), "nothing more is sent")
}
