package name_test

import (
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/name"
)

// Published NAMEs (worked examples E1 to E9): go-j1939, python-can-j1939, AgIsoStack++, the tests of an open
// emissions test program, and a public forum thread of a display maker. E10 is a conflict and left out.
func TestNAME_Published(t *testing.T) {
	for _, c := range []struct {
		source, bytes string
		want          name.Fields
	}{
		{"E1", "2A65009D85F1B42F", name.Fields{Identity: 25898, Manufacturer: 1256, ECUInstance: 5,
			FunctionInstance: 16,
			Function:         241, VehicleSystem: 90, VehicleSystemInstance: 15, IndustryGroup: 2}},
		{"E2", "87D6525382C9FE52", name.Fields{Identity: 1234567, Manufacturer: 666, ECUInstance: 2,
			FunctionInstance: 16,
			Function:         201, VehicleSystem: 127, VehicleSystemInstance: 2, IndustryGroup: 5}},
		{"E2 with AAC", "87D6525382C9FED2", name.Fields{Identity: 1234567, Manufacturer: 666, ECUInstance: 2,
			FunctionInstance: 16, Function: 201, VehicleSystem: 127, VehicleSystemInstance: 2, IndustryGroup: 5, Arbitrary: true}},
		{"E4", "0400000135030497", name.Fields{Identity: 4, Manufacturer: 8, ECUInstance: 5, FunctionInstance: 6,
			Function: 3, VehicleSystem: 2, VehicleSystemInstance: 7, IndustryGroup: 1, Arbitrary: true}},
		{"E5", "10F7450100450001", name.Fields{Identity: 390928, Manufacturer: 10, Function: 69,
			VehicleSystemInstance: 1}},
		{"E6", "0000400500006514", name.Fields{Manufacturer: 42, VehicleSystem: 50, VehicleSystemInstance: 4,
			IndustryGroup: 1, Reserved: true}},
		{"E7", "4347600500130000", name.Fields{Identity: 18243, Manufacturer: 43, Function: 19}},
		{"E8", "7A6BC30910A0A0C0", name.Fields{Identity: 224122, Manufacturer: 78, FunctionInstance: 2,
			Function:      160,
			VehicleSystem: 80, IndustryGroup: 4, Arbitrary: true}},
		{"E9", "288741260001C8C0", name.Fields{Identity: 100136, Manufacturer: 306, Function: 1, VehicleSystem: 100,
			IndustryGroup: 4, Arbitrary: true}},
	} {
		t.Run(c.source, func(t *testing.T) {
			b, err := hex.DecodeString(c.bytes)
			require.NoError(t, err)
			n, ok := name.Decode(b)
			require.True(t, ok)
			require.Equal(t, c.want, n.Fields())
			back, err := name.New(c.want)
			require.NoError(t, err)
			require.Equal(t, b, func() []byte { b := back.Bytes(); return b[:] }())
		})
	}
}

func TestNAME_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := name.NAME(rapid.Uint64().Draw(t, "name"))
		back, err := name.New(n.Fields())
		require.NoError(t, err)
		require.Equal(t, n, back)
		b := n.Bytes()
		decoded, ok := name.Decode(b[:])
		require.True(t, ok)
		require.Equal(t, n, decoded)
	})
}

func TestNew_Refuses(t *testing.T) {
	_, err := name.New(name.Fields{Identity: 1 << 21})
	require.EqualError(t, err, "compose NAME: identity number 2097152 does not fit 21 bits (0 to 2097151)")
	_, err = name.New(name.Fields{IndustryGroup: 8})
	require.Error(t, err)
	_, ok := name.Decode(make([]byte, 7))
	require.False(t, ok)
}

func TestFields_Words(t *testing.T) {
	f := name.Fields{Identity: 390928, Manufacturer: 10, Function: 69, VehicleSystemInstance: 1}
	require.Equal(t, "engine emission aftertreatment system, global, vehicle system 0/1, manufacturer code 10, "+
		"identity 390928", f.Words())
	f = name.Fields{Function: 130, IndustryGroup: 1, VehicleSystem: 1, Arbitrary: true, ECUInstance: 1}
	require.Equal(t,
		"catalyst fluid sensor (instance 0, ECU 1), on-highway, vehicle system 1/0, manufacturer code 0, "+
			"identity 0, may move", f.Words())
	for function, want := range map[uint8]string{0: "engine", 44: "exhaust emission control",
		68: "aftertreatment system gas measurement", 70: "auxiliary regeneration device", 200: "function 200", 255: "not available"} {
		f = name.Fields{Function: function}
		require.Equal(t, want, f.FunctionText())
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x2A, 0x65, 0, 0x9D, 0x85, 0xF1, 0xB4, 0x2F})
	f.Add([]byte{1, 2, 3})
	f.Fuzz(func(t *testing.T, b []byte) {
		n, ok := name.Decode(b)
		if ok != (len(b) >= 8) {
			t.Fatal(ok)
		}
		fields := n.Fields()
		if back, err := name.New(fields); err != nil || back != n {
			t.Fatalf("%v: %v, %v", n, back, err)
		}
		_ = fields.Words()
	})
}
