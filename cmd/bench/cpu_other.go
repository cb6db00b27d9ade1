//go:build !unix

package main

import "time"

var began = time.Now()

// cpu is the time since the program began, where the system tells no processor time.
func cpu() time.Duration { return time.Since(began) }
