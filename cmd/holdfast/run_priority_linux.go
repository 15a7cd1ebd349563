package main

import (
	"fmt"
	"os"
	"runtime"

	"golang.org/x/sys/unix"
)

// fifoPriority is low among the real-time ones: above all ordinary programs, below the kernel's own
// threads that bring the frames (they stand at 50).
const fifoPriority = 10

// askPriority asks for a real-time priority of this goroutine's thread (SCHED_FIFO) and for memory that is
// never swapped out, and says what was granted. The goroutine stays on its thread.
func askPriority() string {
	runtime.LockOSThread()
	attr := &unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Priority: fifoPriority}
	if err := unix.SchedSetAttr(0, attr, 0); err != nil {
		return fmt.Sprintf("no real-time priority (%v): it needs root, CAP_SYS_NICE or an rtprio limit", err)
	}
	if why := lockMemory(); why != "" {
		return fmt.Sprintf("real-time priority %d (SCHED_FIFO); memory not locked: %s", fifoPriority, why)
	}
	return fmt.Sprintf("real-time priority %d (SCHED_FIFO), memory locked", fifoPriority)
}

// lockMemory locks what is there and what will be touched. With a limit on locked memory it is left
// alone: a later allocation over the limit would end the program in the middle of a run.
func lockMemory() string {
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_MEMLOCK, &limit); err != nil {
		return err.Error()
	}
	if limit.Cur != unix.RLIM_INFINITY && os.Geteuid() != 0 {
		return fmt.Sprintf("the limit is %d KiB, it needs unlimited", limit.Cur>>10)
	}
	if err := unix.Mlockall(unix.MCL_CURRENT | unix.MCL_FUTURE | unix.MCL_ONFAULT); err != nil {
		return err.Error()
	}
	return ""
}
