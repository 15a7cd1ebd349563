package spn_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/spn"
)

// Rules every row keeps: the tables are data, and data is checked as a whole.
func TestCatalogue_Rules(t *testing.T) {
	require.Len(t, spn.Parameters(), 939+3536, "rows of spns.tsv and spns_more.tsv")
	require.Len(t, spn.Messages(), 511, "rows of pgns.tsv and pgns_more.tsv")
	for _, p := range spn.Parameters() {
		require.NotEmpty(t, p.Name, p.SPN)
		require.NotEmpty(t, p.Sources, p.SPN)
		require.Contains(t, []string{"1 source", "2+ sources", "memory"}, p.Confidence, p.SPN)
		if p.Kind == spn.Number {
			require.Nil(t, p.Message)
			continue
		}
		if p.Kind == spn.Measured {
			low, high := p.Range()
			require.Less(t, low, high, p.SPN)
			require.NotZero(t, p.Scale.Mul, p.SPN)
		}
		if p.Bits > 0 && p.Bits < 64 {
			for _, s := range p.States {
				require.Zero(t, s.To>>p.Bits, "SPN %d: state %q needs more than %d bits", p.SPN, s.Text, p.Bits)
			}
		}
		if length := p.Message.Length; length > 0 && p.Bits > 0 {
			end := (int(p.Byte)-1)*8 + int(p.Bit) - 1 + int(p.Bits)
			require.LessOrEqual(t, end, length*8, "SPN %d ends outside PGN %d", p.SPN, p.PGN)
		}
	}
}

// Two parameters of one group share no bit, variants of connection management apart.
func TestCatalogue_NoOverlap(t *testing.T) {
	for _, m := range spn.Messages() {
		if m.PGN == 60416 {
			continue
		}
		owner := map[int]uint32{}
		for _, p := range m.Parameters {
			if p.Bits == 19 {
				continue // split: checked by TestParameter_Split
			}
			for i := range int(p.Bits) {
				at := (int(p.Byte)-1)*8 + int(p.Bit) - 1 + i
				require.Zero(t, owner[at], "PGN %d: SPN %d and SPN %d share a bit", m.PGN, owner[at], p.SPN)
				owner[at] = p.SPN
			}
		}
	}
}

func TestFind(t *testing.T) {
	require.Len(t, spn.Find(1214), 3, "stands in DM1, DM2 and DM4")
	require.Len(t, spn.Find(4334), 1)
	require.Nil(t, spn.Find(1))
	doseless := spn.Find(5394)
	require.Len(t, doseless, 1)
	require.Equal(t, spn.Number, doseless[0].Kind)
	require.Equal(t, "Proprietary B", spn.PGN(65408).Name)
	require.Nil(t, spn.PGN(1))
}

func TestNamed(t *testing.T) {
	require.Empty(t, spn.Named("no such thing"))
	found := spn.Named(spn.Find(4334)[0].Name)
	require.Len(t, found, 1)
	require.Equal(t, uint32(4334), found[0].SPN)
}

// The words of the trade's older names find the parameter: 4376 was the return valve.
func TestSearch(t *testing.T) {
	for text, number := range map[string]uint32{
		"return valve": 4376, "RETURN  VALVE": 4376, "dosing absolute pressure": 4387,
		"pump drive": 4375, "A1SCRDSI1": 4334, "diverter": 4376,
	} {
		var numbers []uint32
		for _, p := range spn.Search(text) {
			numbers = append(numbers, p.SPN)
		}
		require.Contains(t, numbers, number, text)
	}
	require.Empty(t, spn.Search(" "))
	require.Empty(t, spn.Search("no such thing at all"))
}

func TestUsualReading(t *testing.T) {
	r, ok := spn.UsualReading(4334, 18)
	require.True(t, ok)
	require.Equal(t, "pressure low, moderate", r.Text)
	require.NotEmpty(t, r.Sources)
	_, ok = spn.UsualReading(4334, 11)
	require.False(t, ok)
}

func TestFMIText(t *testing.T) {
	require.Equal(t, "condition exists", spn.FMIText(31))
	require.Equal(t, "abnormal update rate", spn.FMIText(9))
	require.Equal(t, "reserved", spn.FMIText(22))
	require.Equal(t, "reserved", spn.FMIText(200))
}

// Memory is said wherever a table is memory.
func TestCatalogue_MemoryIsMarked(t *testing.T) {
	for number, marked := range map[uint32]bool{7331: true, 5826: true, 7526: true, 4332: false} {
		p := spn.Find(number)[0]
		require.Equal(t, marked, strings.Contains(p.StatesNote, "memory"), "SPN %d: %q", number, p.StatesNote)
	}
}

func BenchmarkLoad(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		spn.Load()
	}
}

func BenchmarkLoadAll(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		spn.LoadAll()
	}
}
