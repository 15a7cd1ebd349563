package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gopacket/gopacket/pcapgo"
	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/bench/watch/live"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace"
	"holdfast/sim/vehicle"
)

// plainly reads pcapng with another library, packet by packet, and watches every frame: the plain path that
// the quick one is held against. Layout of a packet: LINKTYPE_CAN_SOCKETCAN (227).
func plainly(t *testing.T, file []byte, name string) *watch.Summary {
	t.Helper()
	options := pcapgo.DefaultNgReaderOptions
	options.WantMixedLinkType = true
	r, err := pcapgo.NewNgReader(bytes.NewReader(file), options)
	require.NoError(t, err)
	w := watch.New(watch.Options{}, nil)
	for {
		packet, info, err := r.ReadPacketData()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		word := binary.BigEndian.Uint32(packet)
		var f can.Frame
		f.Time, f.Channel = clock.At(info.Timestamp), uint8(info.InterfaceIndex)
		f.IsExtended, f.IsRemote, f.Error = word>>31 != 0, word>>30&1 != 0, word>>29&1 != 0
		if f.ID = word & (1<<29 - 1); !f.IsExtended && !f.Error {
			f.ID = word & (1<<11 - 1)
		}
		if f.Length = packet[4]; !f.IsRemote {
			copy(f.Data[:f.Length], packet[8:])
		}
		w.Feed([]can.Frame{f})
	}
	w.Finish()
	return w.Summary(name, 0)
}

func quickly(t *testing.T, file []byte, name string) *watch.Summary {
	t.Helper()
	r, err := capture.NewReader(bytes.NewReader(file), name)
	require.NoError(t, err)
	w := watch.New(watch.Options{}, nil)
	require.NoError(t, live.Feed(context.Background(), r, w))
	return w.Summary(name, 0)
}

// What is passed over unread, read ahead and fed in pieces gives, byte for byte, what another library's frames
// give one by one: on every recording beside the repository and on a simulated day with everything wrong.
func TestWatch_QuickIsPlain(t *testing.T) {
	long(t)
	files := map[string][]byte{"simulated": simulatedDay(t, vehicle.Options{Seed: 11, Day: shortDay()[:2],
		Faults: map[string]float64{vehicle.SlowLeak: 30, vehicle.PurgeCut: 1, vehicle.SensorSupply: 1,
			vehicle.BusGap: 2, vehicle.UnitSilent: 1, vehicle.FaultCode: 1}})}
	logs, err := filepath.Glob(filepath.Join(recorded.Folder(), "*", "*"))
	require.NoError(t, err)
	for _, path := range logs {
		switch filepath.Ext(path) {
		case ".log", ".pcap", ".pcapng":
			files[path] = asPcapng(t, path)
		}
	}
	if len(files) == 1 {
		t.Log("no recorded traffic at " + recorded.Folder() + ": the simulated day alone")
	}
	for name, file := range files {
		want, err := json.MarshalIndent(plainly(t, file, name), "", " ")
		require.NoError(t, err)
		got, err := json.MarshalIndent(quickly(t, file, name), "", " ")
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), name)
	}
}

// asPcapng copies a recording into the form that is read quickest.
func asPcapng(t *testing.T, path string) []byte {
	t.Helper()
	r, err := capture.Open(path)
	require.NoError(t, err)
	defer r.Close()
	var frames []can.Frame
	require.NoError(t, trace.Replay(context.Background(), r, func(f []can.Frame) error {
		frames = append(frames, f...)
		return nil
	}))
	var out bytes.Buffer
	names := r.Channels()
	if len(names) == 0 {
		names = []string{"can0"}
	}
	w, err := capture.NewWriter(&out, names...)
	require.NoError(t, err)
	for i := range frames {
		require.NoError(t, w.Write(frames[i], capture.Direction(i%3))) // with and without the option
	}
	require.NoError(t, w.Close())
	return out.Bytes()
}

func simulatedDay(t *testing.T, o vehicle.Options) []byte {
	t.Helper()
	o.Start = clock.At(time.Date(2026, 11, 24, 6, 0, 0, 0, time.UTC))
	v, err := vehicle.New(o)
	require.NoError(t, err)
	var out bytes.Buffer
	w, err := capture.NewWriter(&out, "can0")
	require.NoError(t, err)
	require.NoError(t, trace.Replay(context.Background(), v, func(frames []can.Frame) error {
		for _, f := range frames {
			if err := w.Write(f, capture.Inbound); err != nil {
				return err
			}
		}
		return nil
	}))
	require.NoError(t, w.Close())
	return out.Bytes()
}

// Many recordings at a time are told as one after the other, and the first bad one, in that order, ends it.
func TestWatch_ManyAtOnce(t *testing.T) {
	files := fleet(t)
	var one strings.Builder
	for i, f := range files {
		if i > 0 {
			one.WriteString("\n")
		}
		one.WriteString(must(t, exitDone, "watch", f))
	}
	require.Equal(t, one.String(), must(t, exitDone, append([]string{"watch"}, files...)...))
	bad := filepath.Join(t.TempDir(), "bad.pcapng")
	require.NoError(t, os.WriteFile(bad, []byte("nothing"), 0o644))
	got, out, errOut := holdfast("watch", files[0], bad, files[1], filepath.Join(t.TempDir(), "worse.pcapng"))
	require.Equal(t, exitUsage, got)
	require.Contains(t, errOut, "bad.pcapng")
	require.NotContains(t, errOut, "worse")
	require.Equal(t, must(t, exitDone, "watch", files[0]), out)
}
