package main

import (
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress returns a func that shows how far long work is, and one that ends
// the show. Both do nothing unless standard error is a terminal.
func progress(con *console, what string) (show func(done, of uint64), end func()) {
	f, ok := con.err.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func(uint64, uint64) {}, func() {}
	}
	bar := progressbar.NewOptions64(1, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(what),
		progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish(), progressbar.OptionShowCount())
	show = func(done, of uint64) {
		if bar.GetMax64() != int64(of) {
			bar.ChangeMax64(int64(of))
		}
		bar.Set64(int64(done))
	}
	return show, func() { bar.Clear() }
}
