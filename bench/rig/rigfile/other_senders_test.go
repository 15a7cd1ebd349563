package rigfile_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
)

// beforeCycle puts text among the rig's own keys.
func beforeCycle(t testing.TB, text string) []byte {
	return edited(t, "cycle: 20 ms ", text+"\ncycle: 20 ms ")
}

func TestOtherSenders(t *testing.T) {
	text := beforeCycle(t, "other_senders:\n  - {address: 0x33, what: power supply}\n  - {address: 40, what: display}")
	r, err := rigfile.Parse("r.yaml", text, beside)
	require.NoError(t, err)
	require.Equal(t, []rig.OtherSender{{Address: 0x33, What: "power supply"}, {Address: 40, What: "display"}}, r.Others)
	addresses, open := r.Senders()
	require.Equal(t, []uint8{40, 0x33, 0xC8, 0xF9}, addresses)
	require.False(t, open)
	require.Empty(t, benchNode(t).Others)
}

func TestOtherSenders_OneMistake(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"other_senders: 0x33", "write a list of 1 to 16"},
		{"other_senders: []", "write a list of 1 to 16"},
		{"other_senders: [0x33]", "write {address: 0x33, what: power supply}"},
		{"other_senders: [{address: 0x33}]", "other_senders without what; write what: power supply"},
		{"other_senders: [{what: power supply}]", "other_senders without address"},
		{"other_senders: [{address: 254, what: x}]", "write a whole number 0 to 253"},
		{"other_senders: [{address: 0xF9, what: x}]", "address: 249, the same as our_address"},
		{"other_senders: [{address: 0xC8, what: x}]", "address: 200, the same as node_address"},
		{"other_senders: [{address: 5, what: fan}, {address: 5, what: x}]", "address: 5, the same as that of fan"},
		{"other_senders: [{address: 5, what: fan, watt: 3}]", `no key "watt"`},
		{"other_senders: [{address: 5, what: }]", "what"},
	} {
		problems := problemsIn(t, beforeCycle(t, c.text))
		require.Len(t, problems, 1, "%s: %v", c.text, problems)
		require.Contains(t, problems[0].Error(), c.want)
	}
}
