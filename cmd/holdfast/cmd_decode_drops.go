package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// kernelDrops is what the kernel has dropped of an interface's frames before any socket saw them: its queue
// between driver and sockets was full. The sockets' own counters (can.Stats) know nothing of it. 0 where the kernel
// does not tell.
type kernelDrops struct {
	path  string
	first uint64
}

// watchDrops begins to count for an interface; a recording has none.
func watchDrops(iface string) kernelDrops {
	d := kernelDrops{path: filepath.Join("/sys/class/net", filepath.Base(iface), "statistics", "rx_dropped")}
	d.first = d.read()
	return d
}

func (d kernelDrops) read() uint64 {
	text, err := os.ReadFile(d.path)
	if err != nil {
		return 0
	}
	n, err := strconv.ParseUint(strings.TrimSpace(string(text)), 10, 64)
	if err != nil {
		return 0
	}
	return n
}

// said is the end of the line that sums up; "" when nothing was dropped.
func (d kernelDrops) said() string {
	now := d.read()
	if now <= d.first {
		return ""
	}
	return fmt.Sprintf(", %d frames DROPPED by the kernel before they could be heard", now-d.first)
}
