package watch

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	quantity "holdfast/j1939/unit"
)

func folded(line string, width int) string {
	var b strings.Builder
	foldLine(&b, line, width)
	return b.String()
}

func TestFoldLine(t *testing.T) {
	require.Equal(t, "  watch     after-run purge:\n            needed twice\n",
		folded("  watch     after-run purge: needed twice", 28))
	require.Equal(t, "  not seen  drive: too\n            short\n", folded("  not seen  drive: too short", 24))
	require.Equal(t, "            look at: the\n              battery\n", folded("            look at: the battery", 28))
	require.Equal(t, "  tank level   SPN 1761\n    source 163\n", folded("  tank level   SPN 1761  source 163", 24))
	require.Equal(t, "  ok  it took\n    40 s; 3\n    purges\n", folded("  ok  it took 40 s; 3 purges", 15))
	require.Equal(t, "short\n", folded("short", 80))
	require.Equal(t, "\n", folded("", 80))
	require.Equal(t, "  a\n    unbreakable\n", folded("  a unbreakable", 8), "a long word stays whole")
}

// Any line keeps its words, whole and in their order, and no row is wider than asked unless one word is.
func TestFoldLine_LosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line := rapid.StringMatching(`( {2}(ok {8}|watch {5}))?([a-zä°]{1,9} {1,3}){0,20}[a-z]{0,9}`).Draw(t, "line")
		width := rapid.IntRange(24, 120).Draw(t, "width")
		out := folded(line, width)
		require.Equal(t, strings.Fields(line), strings.Fields(out))
		for row := range strings.Lines(out) {
			require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(row, "\n")), width, out)
		}
	})
}

func TestReach(t *testing.T) {
	require.Equal(t, "40", reach(39.6, 40.4, 0))
	require.Equal(t, "39.6 to 40.4", reach(39.6, 40.4, 1))
	require.Equal(t, "0.0", reach(-0.04, 0.04, 1))
	require.Equal(t, "32.5 %", reachAndLast(32.5, 32.5, 32.5, 1, "%"))
	require.Equal(t, "84 to 85 %, last 84 %", reachAndLast(84, 85, 84, 0, "%"))
	for want, p := range map[string]Parameter{
		"0 %":                         {Unit: "%", Last: "0.0"},
		"32.5 %, last not available":  {Min: 32.5, Max: 32.5, Unit: "%", Last: "not available"},
		"96 to 1088 kPa, last 104":    {Min: 96, Max: 1088, Unit: "kPa", Last: "104"},
		"18400 h":                     {Min: 18400, Max: 18400, Unit: "h", Last: "18400.00"},
		"-5 to 0 °C, last 0":          {Min: -5, Max: -0.001, Unit: "°C", Last: "0"},
		"100 kPa, last 100.2":         {Min: 100.001, Max: 100.004, Unit: "kPa", Last: "100.2"},
		"190.05 to 1005.35 ppm, last": {Min: 190.05, Max: 1005.35, Unit: "ppm"},
	} {
		require.Contains(t, p.rangeText(), want)
	}
	for want, v := range map[string]float64{"+1.3": 1.26, "-1.3": -1.26, "0.0": -0.04} {
		require.Equal(t, want, quantity.Signed(v, 1))
	}
	require.Equal(t, "0.0", quantity.Signed(0.04, 1))
}

// A parameter that read error indicator is said in words.
func TestParameterText_HowOften(t *testing.T) {
	for n, want := range map[uint64]string{1: "; error indicator once;", 2: "; error indicator twice;",
		7: "; error indicator 7 times;"} {
		var b strings.Builder
		(&Summary{Seen: []Parameter{{Signal: "tank level", Errors: n, Unit: "%", Last: "1"}}}).parameterText(&b)
		require.Contains(t, b.String(), want)
	}
}
