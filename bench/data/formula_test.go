package data

import (
	"bytes"
	"encoding/csv"
	"testing"

	"github.com/stretchr/testify/require"
)

// What a spreadsheet would take for a formula stands in a CSV file behind an apostrophe; numbers stay numbers.
func TestCSV_NoFormulas(t *testing.T) {
	type row struct {
		Text  string  `parquet:"text"`
		Value float64 `parquet:"value"`
	}
	texts := map[string]string{`=cmd|'/C calc'!A0`: `'=cmd|'/C calc'!A0`, "+1": "'+1", "-1": "'-1", "@SUM(A1)": "'@SUM(A1)",
		"\t=1": "'\t=1", "\r=1": "'\r=1", "HF-2041": "HF-2041", "": ""}
	for text, want := range texts {
		var b bytes.Buffer
		table, err := newCSV[row](&b)
		require.NoError(t, err)
		require.NoError(t, table.Write([]row{{text, -1.5}}))
		require.NoError(t, table.Close())
		lines, err := csv.NewReader(&b).ReadAll()
		require.NoError(t, err)
		require.Equal(t, []string{want, "-1.5"}, lines[1])
	}
}
