package diag_test

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/diag"
)

// vector is one file of testdata/vectors: README.md there says what its lines mean.
type vector struct {
	expect, lamps string
	dtcs          []string
	old           diag.Version
	encodes       bool
	data          []byte
}

func readVector(t *testing.T, path string) vector {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	head, body, _ := strings.Cut(string(text), "\n\n")
	v := vector{old: diag.DefaultOld, encodes: true}
	for line := range strings.Lines(head) {
		key, value, _ := strings.Cut(strings.TrimSpace(line), ": ")
		switch key {
		case "spec", "source", "comment":
		case "expect":
			v.expect = value
		case "lamps":
			v.lamps = value
		case "dtc":
			v.dtcs = append(v.dtcs, value)
		case "old":
			v.old = diag.Version(value[0] - '0')
		case "encodes":
			v.encodes = value != "no"
		default:
			t.Fatalf("%s: unknown key %q", path, key)
		}
	}
	v.data, err = hex.DecodeString(strings.TrimSpace(body))
	require.NoError(t, err)
	return v
}

func TestFaults_Vectors(t *testing.T) {
	files, err := filepath.Glob("testdata/vectors/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			v := readVector(t, path)
			var f diag.Faults
			err := f.DecodeInto(v.data, v.old)
			if v.expect == "short" {
				require.ErrorIs(t, err, diag.ErrShort)
				return
			}
			require.NoError(t, err)
			require.Equal(t, v.lamps, f.Lamps.String())
			var got []string
			for _, d := range f.DTCs {
				got = append(got, fmt.Sprint(d.SPN, d.FMI, d.Count, uint8(d.Version)))
			}
			require.Equal(t, v.dtcs, got)
			if v.encodes {
				back, err := f.Append(nil)
				require.NoError(t, err)
				require.Equal(t, v.data, back)
			}
		})
	}
}

func TestDTC_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := diag.DTC{
			SPN:     rapid.Uint32Range(0, diag.MaxSPN).Draw(t, "spn"),
			FMI:     rapid.Uint8Range(0, diag.MaxFMI).Draw(t, "fmi"),
			Count:   rapid.Uint8Range(0, diag.CountNotAvailable).Draw(t, "count"),
			Version: diag.Version(rapid.Uint8Range(1, 4).Draw(t, "version")),
		}
		b, err := want.Encode()
		require.NoError(t, err)
		require.Equal(t, want, diag.DecodeDTC(b, want.Version))
		require.Equal(t, want.Old(), b[3]&0x80 != 0)
	})
}

func TestDTC_Encode_Refuses(t *testing.T) {
	for _, d := range []diag.DTC{
		{SPN: 1 << 19, Version: 4}, {FMI: 32, Version: 4}, {Count: 128, Version: 4}, {SPN: 1, Version: 0},
	} {
		_, err := d.Encode()
		require.Error(t, err, d)
	}
	_, err := diag.Faults{DTCs: make([]diag.DTC, diag.MaxDTCs+1)}.Append(nil)
	require.ErrorContains(t, err, "446 codes")
}

func TestDTC_Explain(t *testing.T) {
	d := diag.DTC{SPN: 4334, FMI: 18, Version: diag.Version4}
	require.Equal(t, "SPN 4334 FMI 18", d.String())
	require.Equal(t, "Aftertreatment 1 Diesel Exhaust Fluid Doser 1 Absolute Pressure: "+
		"below normal, moderately severe; usually: pressure low, moderate", d.Explain())
	require.Equal(t, "parameter not in the catalogue: condition exists",
		diag.DTC{SPN: 520200, FMI: 31}.Explain())
}

// A list that is read again and again into the same value does not allocate.
func TestFaults_DecodeInto_DoesNotAllocate(t *testing.T) {
	data, _ := hex.DecodeString("43FFD403097E900C14026102090161020C03")
	var f diag.Faults
	require.NoError(t, f.DecodeInto(data, diag.DefaultOld))
	require.Zero(t, testing.AllocsPerRun(100, func() { _ = f.DecodeInto(data, diag.DefaultOld) }))
}

// What is decoded and written again reads the same.
func FuzzFaults(f *testing.F) {
	for _, s := range []string{"40FF5B000301FFFF", "00FF00000000FFFF", "11CD6102130021061F00EE100400", "57"} {
		data, _ := hex.DecodeString(s)
		f.Add(data, uint8(3))
	}
	f.Fuzz(func(t *testing.T, data []byte, old uint8) {
		if len(data) > 1785 {
			return
		}
		var first, second diag.Faults
		version := diag.Version(old%3 + 1)
		if first.DecodeInto(data, version) != nil {
			return
		}
		again, err := first.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := second.DecodeInto(again, version); err != nil {
			t.Fatal(err)
		}
		third, err := second.Append(nil)
		if err != nil || !bytes.Equal(again, third) {
			t.Fatalf("%x became %x: %v", again, third, err)
		}
	})
}
