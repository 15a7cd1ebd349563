package trace

import (
	"context"
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

// replay shows every message of a recording.
func replay(t *testing.T, path string, show func(*Message)) {
	t.Helper()
	source, err := capture.Open(path)
	require.NoError(t, err)
	defer source.Close()
	var d Decoder
	require.NoError(t, Replay(context.Background(), source, func(frames []can.Frame) error {
		d.Feed(frames, show)
		return nil
	}))
}

// outside is what decoders that nobody here wrote say: expected.json.
type outside struct {
	Raw []struct {
		PGN      uint32
		SA       string
		Signal   string
		StartBit int    `json:"start_bit"`
		Size     int    `json:"size"`
		N        int    `json:"n"`
		First    uint64 `json:"first_raw"`
		Last     uint64 `json:"last_raw"`
		Min      uint64 `json:"min_raw"`
		Max      uint64 `json:"max_raw"`
	} `json:"canmatrix_raw"`
	Signals []struct {
		PGN              uint32
		SA               uint8
		Signal           string
		N                int
		First, Last, Min any
		Max              any
	} `json:"canboat_signals"`
}

func readOutside(t *testing.T, recording string) (o outside) {
	t.Helper()
	text, err := os.ReadFile(recorded.File(t, recording+"/expected.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &o))
	return o
}

type rawHistory struct {
	n                     int
	first, last, min, max uint64
}

// rawHistories are the raw values of every parameter with a place, by message, source, start bit and width.
func rawHistories(t *testing.T, path string) map[string]*rawHistory {
	t.Helper()
	all := map[string]*rawHistory{}
	replay(t, path, func(m *Message) {
		for i := range m.plan.fields {
			f := &m.plan.fields[i]
			raw, ok := f.extract(firstWord(m.Data), m.Data)
			if !ok || !f.inWord {
				continue
			}
			key := fmt.Sprintf("%d %02X %d %d", m.PGN, m.Source, f.shift, f.parameter.Bits)
			h := all[key]
			if h == nil {
				h = &rawHistory{first: raw, min: raw, max: raw}
				all[key] = h
			}
			h.n++
			h.last, h.min, h.max = raw, min(h.min, raw), max(h.max, raw)
		}
	})
	return all
}

// canmatrix with its own j1939.dbc gives the raw bits of the same frames: where a signal of its has the place
// of a parameter of ours, the bits are the same.
func TestRecordings_RawBits(t *testing.T) {
	for recording, atLeast := range map[string]int{"scr-engine-idle": 60, "def-vehicle-key-on": 35} {
		t.Run(recording, func(t *testing.T) {
			ours := rawHistories(t, recorded.File(t, recording+"/traffic.log"))
			compared := 0
			for _, s := range readOutside(t, recording).Raw {
				h := ours[fmt.Sprintf("%d %s %d %d", s.PGN, s.SA, s.StartBit, s.Size)]
				if h == nil {
					continue // not in our catalogue, or the DBC is of another edition
				}
				compared++
				require.Equal(t, rawHistory{s.N, s.First, s.Last, s.Min, s.Max}, *h, "%d %s", s.PGN, s.Signal)
			}
			require.GreaterOrEqual(t, compared, atLeast)
		})
	}
}

// scaled are signals that canboat scales like the standard, with the factor from its unit to ours (it shows
// pressures in bar and rounds to three decimals). Its temperatures of 0.03125 °C a bit are left
// out: their offset is not the -273 °C of J1939-71 (ETI, DBC-D and BUSLAB agree on that), and it shows the
// error indicator 0xFEFF as 1751 °C.
var scaled = []struct {
	signal string
	spn    uint32
	factor float64
}{
	{"Engine RPM", 190, 1}, {"Aftertreatment 1 Diesel Particulate Filter Differential Pressure", 3251, 100},
	{"Engine Fuel 1 Injector Metering Rail 1 Pressure", 157, 1}, {"Boost Pressure", 102, 100},
	{"Intake Manifold Temp", 105, 1}, {"Air Inlet Pressure", 106, 100}, {"Engine Coolant Temp", 110, 1},
	{"Engine Fuel Temp 1", 174, 1}, {"Battery Voltage", 168, 1}, {"Barometric Pressure", 108, 100},
}

func TestRecordings_ScaledSignals(t *testing.T) {
	for recording, atLeast := range map[string]int{"scr-engine-idle": 10, "def-vehicle-key-on": 3} {
		t.Run(recording, func(t *testing.T) {
			var s Summary
			replay(t, recorded.File(t, recording+"/traffic.log"), s.Add)
			r := s.Report(Counts{})
			compared := 0
			for _, theirs := range readOutside(t, recording).Signals {
				for _, known := range scaled {
					if known.signal != theirs.Signal {
						continue
					}
					compared++
					p := reported(t, r, theirs.PGN, known.spn)
					ours := func(raw uint64) float64 { return p.Parameter.Scale.Value(raw) / known.factor }
					require.EqualValues(t, theirs.N, p.Valid, theirs.Signal)
					rounding := 0.00051 // canboat prints three decimals
					if known.spn == 190 {
						rounding = 0.051 // and one of engine speed
					}
					require.InDelta(t, theirs.Min, ours(p.Min), rounding, theirs.Signal)
					require.InDelta(t, theirs.Max, ours(p.Max), rounding, theirs.Signal)
					require.InDelta(t, theirs.Last, ours(p.Last), rounding, theirs.Signal)
				}
			}
			require.GreaterOrEqual(t, compared, atLeast)
		})
	}
}

// canboat says "219:12:00" for SPN 247: 219.2 h. The numbers of frames by source are those of tshark.
func TestRecordings_KeyOn(t *testing.T) {
	var s Summary
	replay(t, recorded.File(t, "def-vehicle-key-on/traffic.log"), s.Add)
	r := s.Report(Counts{})
	hours := reported(t, r, 65253, 247)
	require.Equal(t, "219.2", string(hours.Parameter.Scale.AppendExact(nil, hours.Last)))
	sources := map[uint8]uint64{}
	for _, g := range r.Groups {
		if g.Transport == 0 {
			sources[g.Source] += g.Messages
		}
	}
	require.Equal(t, map[uint8]uint64{0: 1032, 0x47: 371, 0x51: 187, 0x52: 187, 0xA3: 38}, sources)
	oil := reported(t, r, 65262, 175)
	require.EqualValues(t, 1, oil.Errors, "0xFEFF is an error indicator, not 1751 °C")
	require.Less(t, oil.Parameter.Scale.Value(oil.Max), 100.0)
}

// everyRecording are the recordings with 29-bit frames.
var everyRecording = []string{
	"pcap-with-claims/traffic.pcap", "pcap-with-claims/engine-start.candump",
	"def-vehicle-key-on/traffic.pcap", "def-vehicle-key-on/traffic.log", "scr-engine-idle/traffic.log",
	"transport-vectors/candump.log", "transport-vectors/multipacket_bam.txt", "transport-vectors/multipacket_cts.txt",
	"transport-vectors/multipacket_interleaved.txt", "transport-vectors/simplecandump.txt",
	"transport-vectors/test_dm1.log", "transport-vectors/test_requests.log", "transport-vectors/test_tp_frames.txt",
}

// asPcapng writes the frames of a recording that tshark cannot read as one that it can.
func asPcapng(t *testing.T, path string) string {
	t.Helper()
	if strings.HasSuffix(path, ".pcap") {
		return path
	}
	source, err := capture.Open(path)
	require.NoError(t, err)
	defer source.Close()
	out, err := os.Create(filepath.Join(t.TempDir(), "traffic.pcapng"))
	require.NoError(t, err)
	defer out.Close()
	w, err := capture.NewWriter(out, "can0")
	require.NoError(t, err)
	require.NoError(t, Replay(context.Background(), source, func(frames []can.Frame) error {
		for _, f := range frames {
			f.Channel = 0
			if err := w.Write(f, capture.Inbound); err != nil {
				return err
			}
		}
		return nil
	}))
	require.NoError(t, w.Flush())
	return out.Name()
}

// tshark reads the identifier of every 29-bit frame of every recording, among them a busy marine network, which
// shares the identifier format.
func TestRecordings_Identifiers(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	program, err := exec.LookPath("tshark")
	if err != nil {
		t.Skip("tshark is not here: identifiers are not compared")
	}
	for _, name := range everyRecording {
		t.Run(name, func(t *testing.T) {
			path := recorded.File(t, name)
			out, err := exec.Command(program, "-n", "-d", "can.subdissector,j1939", "-r", asPcapng(t, path), "-T", "fields",
				"-e", "j1939.priority", "-e", "j1939.pgn", "-e", "j1939.src_addr", "-e", "j1939.dst_addr").Output()
			require.NoError(t, err)
			compareIdentifiers(t, path, theirIdentifiers(string(out)))
		})
	}
}

// theirIdentifiers are the lines of tshark without those of 11-bit frames, which have no such fields.
func theirIdentifiers(out string) (lines []string) {
	for line := range strings.Lines(out) {
		if line = strings.TrimSuffix(line, "\n"); strings.Trim(line, "\t") != "" {
			lines = append(lines, line)
		}
	}
	return lines
}

func compareIdentifiers(t *testing.T, path string, theirs []string) {
	at := 0
	replay(t, path, func(m *Message) {
		if m.Transport != 0 {
			return
		}
		destination := ""
		if m.PGN>>8&0xFF < 240 {
			destination = strconv.Itoa(int(m.Destination))
		}
		ours := fmt.Sprintf("%d\t%d\t%d\t%s", m.Priority, m.PGN, m.Source, destination)
		if at < len(theirs) && theirs[at] != ours {
			t.Fatalf("%s 29-bit frame %d: tshark %q, ours %q", path, at+1, theirs[at], ours)
		}
		at++
	})
	require.NotZero(t, at)
	require.Len(t, theirs, at)
}
