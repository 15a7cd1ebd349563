package spn

import (
	"math/big"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestScale_Text(t *testing.T) {
	for _, c := range []struct {
		resolution, offset string
		raw                uint64
		exact, shown       string
	}{
		{"0.1", "0", 3, "0.3", "0.3"}, // 0.30000000000000004 as a float product
		{"0.125", "0", 5193, "649.125", "649.125"},
		{"0.03125", "-273", 9473, "23.03125", "23.03"},
		{"0.03125", "-273", 8736, "0", "0.00"},
		{"0.03125", "-273", 8735, "-0.03125", "-0.03"},
		{"0.4", "0", 202, "80.8", "80.8"},
		{"0.000514", "-12", 64255, "21.02707", "21.0271"},
		{"1", "-125", 0, "-125", "-125"},
		{"8", "0", 75, "600", "600"},
		{"0.001953125", "0", 64255, "125.498046875", "125.498"},
		{"0.5", "0", 1, "0.5", "0.5"},
		{"1000", "0", 2289526357, "2289526357000", "2289526357000"},
		{"0.05", "-200", 4001, "0.05", "0.05"},
		{"0.3", "0", 64255, "19276.5", "19276.5"},
	} {
		s, err := NewScale(c.resolution, c.offset)
		require.NoError(t, err)
		require.Equal(t, c.exact, string(s.AppendExact(nil, c.raw)), "%v", c)
		require.Equal(t, c.shown, string(s.AppendShown(nil, c.raw)), "%v", c)
	}
}

// The float is the one nearest to the exact decimal: its shortest text is that decimal.
func TestScale_Value_IsNearest(t *testing.T) {
	all := catalogue().all()
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(all).Draw(t, "parameter")
		if p.Bits == 0 || p.Bits > 32 {
			return
		}
		raw := rapid.Uint64Range(0, 1<<p.Bits-1).Draw(t, "raw")
		exact, ok := new(big.Rat).SetString(string(p.Scale.AppendExact(nil, raw)))
		require.True(t, ok)
		nearest, _ := exact.Float64()
		require.Equal(t, nearest, p.Scale.Value(raw))
		text := strconv.FormatFloat(p.Scale.Value(raw), 'f', -1, 64)
		require.Equal(t, string(p.Scale.AppendExact(nil, raw)), text)
	})
}

func TestNewScale_Refuses(t *testing.T) {
	for _, bad := range []string{"", "x", "0.000000000000001"} {
		_, err := NewScale(bad, "0")
		require.Error(t, err, bad)
	}
}

// A person's own signal may fall while its raw value rises.
func TestNewScale_NegativeResolution(t *testing.T) {
	s, err := NewScale("-0.00002", "1")
	require.NoError(t, err)
	require.Equal(t, "0.99998", string(s.AppendExact(nil, 1)))
	require.Equal(t, "0.99998", string(s.AppendShown(nil, 1)))
}
