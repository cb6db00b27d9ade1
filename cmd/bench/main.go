// Command bench measures what undersheet promises against invented treatments
// whose truth is known.
//
//	go run ./cmd/bench estimator
//
// draws treatments from package scenario, runs the fit and the leak test over
// them as the daemon does, and prints error, coverage and delay beside the target
// of each figure, beside what people do on log paper, and beside what no
// estimator can better. It exits with status 1 where a figure misses its target.
//
// It refuses to mix: seeds below 1,000,000 are for tuning, the default seeds are
// not, and its figures are of those alone.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/alecthomas/kong"
)

// console is where a command writes to.
type console struct{ out, err io.Writer }

// commands are the words after "bench".
type commands struct {
	Estimator estimatorCmd `cmd:"" help:"Forecasts and leak tests against invented treatments whose truth is known."`
}

// errMissed ends a command with status 1 when its table has said what was missed.
var errMissed = errors.New("figures missed their target")

func main() { os.Exit(run(os.Args[1:], &console{out: os.Stdout, err: os.Stderr})) }

// run parses args, runs the command and returns the exit status: 0 done, 1
// failed or missed a target, 2 wrong arguments.
func run(args []string, con *console) int {
	var c commands
	exited := -1
	p, err := kong.New(&c, kong.Name("bench"), kong.Description("Measures undersheet against invented treatments."),
		kong.Writers(con.out, con.err), kong.Exit(func(code int) { exited = code }), kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 110}))
	if err != nil {
		fmt.Fprintln(con.err, "bench:", err)
		return 2
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	ctx, err := p.Parse(args)
	switch {
	case exited >= 0:
		return exited
	case err != nil:
		fmt.Fprintf(con.err, "bench: %v\n(bench --help lists the commands)\n", err)
		return 2
	}
	if err := ctx.Run(con); err != nil {
		if !errors.Is(err, errMissed) {
			fmt.Fprintln(con.err, "bench:", err)
		}
		return 1
	}
	return 0
}
