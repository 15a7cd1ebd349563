package transport_test

import (
	"testing"

	"holdfast/j1939/can"
	"holdfast/j1939/transport"
)

// BenchmarkEndpoint_100kB is one message of 100 000 bytes from one endpoint to the other, without a bus between.
func BenchmarkEndpoint_100kB(b *testing.B) {
	data := payload(100_000)
	from := transport.NewEndpoint(1, transport.Options{Gap: -1})
	to := transport.NewEndpoint(2, transport.Options{Window: 255})
	var out, in transport.Actions
	var heard []can.Frame
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := from.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: data}); err != nil {
			b.Fatal(err)
		}
		for in.Reset(); len(in.Outcomes) == 0; {
			out.Reset()
			from.Step(0, heard, &out)
			heard = heard[:0]
			for _, f := range out.Frames {
				heard = append(heard, can.Frame{Frame: f})
			}
			in.Frames = in.Frames[:0]
			to.Step(0, heard, &in)
			heard = heard[:0]
			for _, f := range in.Frames {
				heard = append(heard, can.Frame{Frame: f})
			}
		}
		out.Reset()
		from.Step(0, heard, &out) // the acknowledgment
		heard = heard[:0]
	}
}
