package virtual

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"
)

// Source of the figures: bits without stuffing from Linux include/linux/can/length.h.
func TestFrameTime(t *testing.T) {
	for _, c := range []struct {
		frame   einride.Frame
		bitrate int
		want    time.Duration
	}{
		{einride.Frame{IsExtended: true, Length: 8}, 250_000, 524 * time.Microsecond},
		{einride.Frame{IsExtended: true, Length: 0}, 250_000, 268 * time.Microsecond},
		{einride.Frame{Length: 8}, 250_000, 444 * time.Microsecond},
		{einride.Frame{Length: 0}, 250_000, 188 * time.Microsecond},
		{einride.Frame{IsExtended: true, Length: 8}, 500_000, 262 * time.Microsecond},
		{einride.Frame{IsExtended: true, Length: 8, IsRemote: true}, 250_000, 268 * time.Microsecond},
	} {
		require.Equal(t, c.want, frameTime(&c.frame, c.bitrate), "%v at %d", c.frame, c.bitrate)
	}
}

// The oracle writes the arbitration field out as the bits that are on the wire and compares them one by one.
func TestArbitrationField_AsOnTheWire(t *testing.T) {
	bits := func(f einride.Frame) []bool {
		var out []bool
		put := func(v uint32, n int) {
			for i := n - 1; i >= 0; i-- {
				out = append(out, v>>i&1 == 1)
			}
		}
		remote := uint32(0)
		if f.IsRemote {
			remote = 1
		}
		if f.IsExtended {
			put(f.ID>>18, 11)
			put(1, 1) // substitute remote request, recessive
			put(1, 1) // identifier extension, recessive
			put(f.ID&0x3FFFF, 18)
			put(remote, 1)
		} else {
			put(f.ID, 11)
			put(remote, 1)
			put(0, 1) // identifier extension, dominant
		}
		return out
	}
	wins := func(a, b einride.Frame) bool {
		x, y := bits(a), bits(b)
		for i := range min(len(x), len(y)) {
			if x[i] != y[i] {
				return !x[i]
			}
		}
		return false // the same field
	}
	draw := rapid.Custom(func(t *rapid.T) einride.Frame {
		f := einride.Frame{IsExtended: rapid.Bool().Draw(t, "extended"), IsRemote: rapid.Bool().Draw(t, "remote")}
		base := rapid.Uint32Range(0, 3).Draw(t, "base") // few, so that equal beginnings are common
		f.ID = base
		if f.IsExtended {
			f.ID = base<<18 | rapid.Uint32Range(0, 2).Draw(t, "low")
		}
		return f
	})
	rapid.Check(t, func(t *rapid.T) {
		a, b := draw.Draw(t, "a"), draw.Draw(t, "b")
		require.Equal(t, wins(a, b), arbitrationField(&a) < arbitrationField(&b))
	})
}
