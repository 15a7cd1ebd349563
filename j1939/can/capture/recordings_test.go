package capture_test

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
)

// Counts from the README.md beside the recordings.
func TestRecordings_AreReadWhole(t *testing.T) {
	for _, c := range []struct {
		file    string
		frames  int
		untimed uint64
	}{
		{"scr-engine-idle/traffic.log", 57_849, 0},
		{"def-vehicle-key-on/traffic.log", 1_815, 0},
		{"def-vehicle-key-on/traffic.pcap", 1_815, 0},
		{"pcap-with-claims/traffic.pcap", 49_928, 0},
		{"pcap-with-claims/engine-start.candump", 853, 853},
	} {
		t.Run(c.file, func(t *testing.T) {
			r := openRecording(t, c.file)
			frames := readAll(t, r, 256)
			require.Equal(t, c.frames, len(frames))
			require.Equal(t, can.Stats{Received: uint64(c.frames)}, r.Stats())
			require.Equal(t, c.untimed, r.Untimed())
		})
	}
}

func TestRecordings_TextAndPcapOfOneDriveAreEqual(t *testing.T) {
	text := readAll(t, openRecording(t, "def-vehicle-key-on/traffic.log"), 100)
	binary := readAll(t, openRecording(t, "def-vehicle-key-on/traffic.pcap"), 7)
	for i := range text {
		text[i].Channel = 0 // classic pcap does not keep it
	}
	require.Equal(t, text, binary)
}

// Oracle: the expected.json beside the recordings holds what tshark counted on the same frames.
func TestRecordings_FramesPerParameterGroupAsTsharkCounts(t *testing.T) {
	for _, folder := range []string{"scr-engine-idle", "def-vehicle-key-on"} {
		raw, err := os.ReadFile(recorded.File(t, folder+"/expected.json"))
		require.NoError(t, err)
		var expected struct {
			Tshark struct {
				Extended int            `json:"extended_frames"`
				PGNs     map[string]int `json:"pgn_frames"`
			} `json:"tshark_j1939"`
		}
		require.NoError(t, json.Unmarshal(raw, &expected))
		require.NotEmpty(t, expected.Tshark.PGNs)
		counted, extended := map[string]int{}, 0
		for _, f := range readAll(t, openRecording(t, folder+"/traffic.log"), 64) {
			if !f.IsExtended {
				continue
			}
			extended++
			group := f.ID >> 8 & 0x3FFFF
			if group>>8&0xFF < 240 { // the low byte is a destination address (SAE J1939-21)
				group &^= 0xFF
			}
			counted[strconv.Itoa(int(group))]++
		}
		require.Equal(t, expected.Tshark.Extended, extended)
		require.Equal(t, expected.Tshark.PGNs, counted)
	}
}

// Oracle: tshark reads what Writer wrote.
func TestWriter_IsReadByTshark(t *testing.T) {
	tshark, err := exec.LookPath("tshark")
	if err != nil {
		t.Skip("tshark is not installed (apt-get install tshark)")
	}
	path := filepath.Join(t.TempDir(), "written.pcapng")
	w, err := capture.Create(path, "can0", "can1")
	require.NoError(t, err)
	frames := someFrames()
	frames[1].Channel = 1
	in := capture.Inbound
	directions := []capture.Direction{in, capture.Outbound, capture.Unknown, in, in}
	for i, f := range frames {
		require.NoError(t, w.Write(f, directions[i]))
	}
	require.NoError(t, w.Close())
	out, err := exec.Command(tshark, "-r", path, "-t", "e", "-T", "fields", "-E", "separator=;",
		"-e", "frame.time_epoch", "-e", "frame.interface_name", "-e", "frame.packet_flags_direction",
		"-e", "can.id", "-e", "can.flags.xtd", "-e", "can.flags.rtr", "-e", "can.flags.err", "-e", "can.len",
		"-e", "can.err.busoff").Output()
	require.NoError(t, err)
	want := []string{
		"1.000000001;can0;0x00000001;419360256;1;0;0;8;",
		"2.000000020;can1;0x00000002;2047;0;0;0;3;",
		"3.000000300;can0;;291;0;1;0;4;",
		"4.000004000;can0;0x00000001;536870911;1;0;0;0;",
		"5.000050000;can0;0x00000001;;;;1;8;1",
	}
	require.Equal(t, want, strings.Split(strings.TrimSpace(string(out)), "\n"))
}

// Oracle: tshark reads the recordings too; identifiers and payload bytes are compared frame by frame.
func TestRecordings_FrameByFrameAsTshark(t *testing.T) {
	tshark, err := exec.LookPath("tshark")
	if err != nil {
		t.Skip("tshark is not installed (apt-get install tshark)")
	}
	path := recorded.File(t, "def-vehicle-key-on/traffic.pcap")
	out, err := exec.Command(tshark, "-r", path, "-T", "fields",
		"-e", "frame.time_epoch", "-e", "can.id", "-e", "can.len").Output()
	require.NoError(t, err)
	frames := readAll(t, openRecording(t, "def-vehicle-key-on/traffic.pcap"), 64)
	var ours strings.Builder
	for _, f := range frames {
		fmt.Fprintf(&ours, "%d.%09d\t%d\t%d\n", f.Time/1e9, f.Time%1e9, f.ID, f.Length)
	}
	require.Equal(t, string(out), ours.String())
}
