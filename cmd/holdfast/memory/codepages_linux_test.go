package memory

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Only what is the program's own and read-only is given back: its variables and the heap would be lost.
func TestReadOnlyPart(t *testing.T) {
	from, to, ok := readOnlyPart([]byte("00400000-00ebf000 r-xp 00000000 08:01 123456   /usr/bin/holdfast\n"), "/usr/bin/holdfast")
	require.True(t, ok)
	require.EqualValues(t, 0x400000, from)
	require.EqualValues(t, 0xebf000, to)
	for _, line := range []string{
		"01922000-01e84000 rw-p 01521000 08:01 123456   /usr/bin/holdfast",
		"00400000-00ebf000 r-xp 00000000 08:01 123456   /usr/lib/other",
		"39b9d4c00000-39b9d5800000 rw-p 00000000 00:00 0", "", "7ffd-7ffe r-xp 0 0 0 [vdso]",
	} {
		_, _, ok = readOnlyPart([]byte(line), "/usr/bin/holdfast")
		require.False(t, ok, line)
	}
	GiveBackCodePages() // and the test runs on
}
