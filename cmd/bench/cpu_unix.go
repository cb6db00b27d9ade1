//go:build unix

package main

import (
	"syscall"
	"time"
)

// cpu is the processor time that this program has used, so that others on the
// machine do not count.
func cpu() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
