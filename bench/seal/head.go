package seal

import (
	"encoding/json"

	"holdfast/bench/disk"
)

// maxHead bounds a head's file, in bytes.
const maxHead = 16 << 10

// headName names the file for a folder's book: its path may be anything.
func headName(path string) string { return Hash([]byte(path))[:32] + ".json" }

func readHead(path string) *Head {
	text, err := disk.ReadFile(path, maxHead)
	h := new(Head)
	if err != nil || json.Unmarshal(text, h) != nil || h.Number < 1 {
		return nil
	}
	return h
}

func jsonLine(v any) ([]byte, error) {
	text, err := json.Marshal(v)
	return append(text, '\n'), err
}
