package capture_test

import (
	"bytes"
	"testing"

	"github.com/gopacket/gopacket/pcapgo"
	"github.com/stretchr/testify/require"

	"holdfast/j1939/can/bustest"
	"holdfast/j1939/can/capture"
)

func TestReader_Suite(t *testing.T) {
	want := someFrames()
	for i := range want {
		want[i].Time -= want[i].Time % 1000 // what candump keeps
	}
	var text, pcap, pcapng bytes.Buffer
	old := pcapgo.NewWriter(&pcap)
	require.NoError(t, old.WriteFileHeader(65536, linkCAN))
	w, err := capture.NewWriter(&pcapng)
	require.NoError(t, err)
	for _, f := range want {
		text.WriteString(logLine(&f))
		require.NoError(t, old.WritePacket(info(f.Time, packet(&f)), packet(&f)))
		require.NoError(t, w.Write(f, capture.Inbound))
	}
	require.NoError(t, w.Flush())
	files := map[string][]byte{"candump": text.Bytes(), "pcap": pcap.Bytes(), "pcapng": pcapng.Bytes()}
	for name, file := range files {
		t.Run(name, func(t *testing.T) {
			bustest.RunSource(t, func(t *testing.T) bustest.Recorded {
				r, err := capture.NewReader(bytes.NewReader(file), name)
				require.NoError(t, err)
				return bustest.Recorded{Source: r, Want: want, Ends: true}
			})
		})
	}
}
