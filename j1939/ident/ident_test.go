package ident_test

import (
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/ident"
	"holdfast/j1939/spn"
)

type vector struct {
	pgn     uint32
	says    []string
	refused bool
	data    []byte
}

func readVector(t testing.TB, path string) (v vector) {
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	head, body, _ := strings.Cut(string(text), "\n\n")
	for line := range strings.Lines(head) {
		key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
		switch key {
		case "spec", "source":
		case "pgn":
			n, err := strconv.ParseUint(value, 10, 18)
			require.NoError(t, err)
			v.pgn = uint32(n)
		case "says":
			v.says = append(v.says, value)
		case "expect":
			v.refused = value == "refused"
		default:
			t.Fatalf("%s: unknown key %q", path, key)
		}
	}
	v.data, err = hex.DecodeString(strings.TrimSpace(body))
	require.NoError(t, err)
	return v
}

func TestIdentity_Vectors(t *testing.T) {
	files, err := filepath.Glob("testdata/vectors/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			v := readVector(t, path)
			var i ident.Identity
			require.True(t, i.Empty())
			require.Equal(t, !v.refused, i.Take(v.pgn, v.data))
			require.Equal(t, v.refused, i.Empty())
			require.Equal(t, v.says, i.Lines())
		})
	}
}

// A later message replaces an earlier one and leaves those of other groups.
func TestIdentity_Take(t *testing.T) {
	var i ident.Identity
	require.True(t, i.Take(ident.PGNComponent, []byte("A*B*")))
	require.True(t, i.Take(ident.PGNVehicle, []byte("V*")))
	require.True(t, i.Take(ident.PGNComponent, []byte("C*")))
	require.Equal(t, []string{"component: make C", "vehicle: identification number V"}, i.Lines())
	require.Nil(t, i.Component.Model, "the later message has no such field")
	text, err := json.Marshal(i)
	require.NoError(t, err)
	require.JSONEq(t, `{"component":{"make":"C","model":null,"serial_number":null,"unit_number":null},
		"vehicle":{"vin":"V"}}`, string(text))
}

// Hours that are no number stay none.
func TestDecodeHours_Status(t *testing.T) {
	h, err := ident.DecodeHours([]byte{0, 0, 0, 0xFE, 0x10, 0, 0, 0})
	require.NoError(t, err)
	require.Equal(t, ident.Hours{HoursStatus: spn.ErrorState, Revolutions: 16000, RevolutionsStatus: spn.Valid}, h)
}

// A number that is not valid is null in JSON, its status beside it; what nobody could have written is refused.
func TestHours_JSON(t *testing.T) {
	h, err := ident.DecodeHours([]byte{0, 0, 0, 0xFE, 0x10, 0, 0, 0})
	require.NoError(t, err)
	text, err := json.Marshal(h)
	require.NoError(t, err)
	require.JSONEq(t, `{"hours":null,"hours_status":"error indicator","revolutions":16000}`, string(text))
	var back ident.Hours
	require.NoError(t, json.Unmarshal(text, &back))
	require.Equal(t, h, back)
	for _, wrong := range []string{`{"hours":null,"revolutions":1}`, `{"hours":1,"revolutions":null}`,
		`{"hours":null,"hours_status":"valid","revolutions":1}`, `[]`} {
		require.Error(t, json.Unmarshal([]byte(wrong), &back), wrong)
	}
	var text1 ident.Text
	require.Error(t, json.Unmarshal([]byte(`"€"`), &text1), "not ISO Latin 1")
	require.Error(t, json.Unmarshal([]byte(`7`), &text1))
}

// Any fields of text come back as they were written.
func TestFields_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fields := rapid.SliceOfN(rapid.StringMatching(`([!-)+-~]([ -)+-~]*[!-)+-~])?)?`), 0, 8).Draw(t, "fields")
		data := ""
		for _, f := range fields {
			data += f + "*"
		}
		got := ident.Fields([]byte(data))
		require.Len(t, got, len(fields))
		for i, f := range fields {
			require.Equal(t, f, string(got[i]))
		}
	})
}

// What a bus says never drives a terminal, and every byte of it but padding and stars is shown.
func FuzzIdentity(f *testing.F) {
	files, err := filepath.Glob("testdata/vectors/*.txt")
	require.NoError(f, err)
	for _, path := range files {
		v := readVector(f, path)
		f.Add(v.pgn, v.data)
	}
	f.Fuzz(func(t *testing.T, pgn uint32, data []byte) {
		if len(data) > 1785 {
			return
		}
		var i ident.Identity
		if !i.Take(pgn, data) {
			return
		}
		for _, line := range i.Lines() {
			if !utf8.ValidString(line) {
				t.Fatalf("%q is not UTF-8", line)
			}
			for _, r := range line {
				if r < ' ' || r >= 0x7F && r < 0xA0 {
					t.Fatalf("%q holds a control character", line)
				}
			}
		}
		text, err := json.Marshal(i)
		if err != nil {
			t.Fatal(err)
		}
		var back ident.Identity
		if err := json.Unmarshal(text, &back); err != nil || !reflect.DeepEqual(i, back) {
			t.Fatalf("%s reads back as %+v: %v", text, back, err)
		}
	})
}
