package memory

import (
	"bytes"
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// GiveBackCodePages lets the kernel take back the pages of the program file that are in this process's memory. Where it
// fails nothing is lost.
func GiveBackCodePages() {
	program, err := os.Executable()
	if err != nil {
		return
	}
	maps, err := os.ReadFile("/proc/self/maps")
	if err != nil {
		return
	}
	for line := range bytes.Lines(maps) {
		if from, to, ok := readOnlyPart(line, program); ok {
			_, _, _ = unix.Syscall(unix.SYS_MADVISE, from, to-from, unix.MADV_DONTNEED)
		}
	}
}

// readOnlyPart reads a line of /proc/self/maps: "00400000-00ebf000 r-xp 00000000 08:01 123  /path".
func readOnlyPart(line []byte, program string) (from, to uintptr, ok bool) {
	cells := bytes.Fields(line)
	if len(cells) != 6 || string(cells[5]) != program {
		return 0, 0, false
	}
	if allowed := string(cells[1]); allowed != "r-xp" && allowed != "r--p" {
		return 0, 0, false
	}
	low, high, _ := bytes.Cut(cells[0], []byte("-"))
	a, err := strconv.ParseUint(string(low), 16, strconv.IntSize)
	if err != nil {
		return 0, 0, false
	}
	b, err := strconv.ParseUint(string(high), 16, strconv.IntSize)
	if err != nil || b <= a {
		return 0, 0, false
	}
	return uintptr(a), uintptr(b), true
}
