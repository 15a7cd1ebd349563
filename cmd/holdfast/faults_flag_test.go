package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestFaultsFlag_Set(t *testing.T) {
	var f faultsFlag
	require.Empty(t, f.Map())
	require.NoError(t, f.Set("membrane-split=0.6"))
	require.NoError(t, f.Set("doser-drip=1"))
	require.Equal(t, map[string]float64{"membrane-split": 0.6, "doser-drip": 1}, f.Map())
	require.Equal(t, "doser-drip=1,membrane-split=0.6", f.String())
}

func TestFaultsFlag_Set_Error(t *testing.T) {
	for _, c := range []struct{ text, says string }{
		{"membrane-split", "NAME=SEVERITY"},
		{"membrane-torn=0.5", "membrane-split"}, // names the known ones
		{"membrane-split=1.1", "0 (none) to 1 (worst)"},
		{"membrane-split=-0.1", "0 (none) to 1 (worst)"},
		{"membrane-split=NaN", "0 (none) to 1 (worst)"},
		{"membrane-split=half", "half"},
		{"pump-worn=0.5", "given twice"},
	} {
		f := faultsFlag{severity: map[string]float64{"pump-worn": 0.1}}
		require.ErrorContains(t, f.Set(c.text), c.says, c.text)
		require.Len(t, f.Map(), 1, "a refused fault is not kept")
	}
}
