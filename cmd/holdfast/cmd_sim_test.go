package main

import (
	"bytes"
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSim_Refuses(t *testing.T) {
	for _, c := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"sim"}, exitUsage, "bus"},
		{[]string{"sim", "--bus", "sim"}, exitUsage, "name a CAN interface"},
		{[]string{"sim", "--bus", "nocan7", "--fault", "rust=1"}, exitUsage, "pump-worn"},
		{[]string{"sim", "--bus", "nocan7", "--unit", "own"}, exitUsage, "bare or controller"},
		{[]string{"sim", "--bus", "nocan7"}, exitBus, "nocan7"},
	} {
		var out, errOut bytes.Buffer
		require.Equal(t, c.status, execute(context.Background(), c.args, nil, &out, &errOut), c.args)
		require.Contains(t, errOut.String(), c.says, c.args)
	}
}
