package sim

import (
	"fmt"
	"time"

	"undersheet/sensor/modbus/slave"
)

// Printed is one value that a Printer prints.
type Printed struct {
	Name    string // as the instrument calls it
	Channel string // of the Depot
	Unit    string // as the instrument calls it
}

// Printer is an instrument on a serial line that prints a line of text for each
// value, for example "FLOW 1.20 LPM OK".
type Printer struct {
	Depot  *Depot
	Values []Printed
	term   *slave.Terminal
}

// Open makes the pseudo-terminal and returns the path that a reader opens.
func (p *Printer) Open() (device string, err error) {
	p.term, err = slave.OpenTerminal()
	if err != nil {
		return "", fmt.Errorf("open simulated printer: %w", err)
	}
	return p.term.Name(), nil
}

// printPatience is how long a line may wait for a reader, on the wire's time.
const printPatience = 2 * time.Second

// Print prints what the instrument shows now. What nobody reads is lost when the
// line is full, as on a real one.
func (p *Printer) Print() error {
	for _, v := range p.Values {
		value, err := p.Depot.Read(v.Channel)
		if err != nil {
			return err
		}
		if err := p.term.SetWriteDeadline(time.Now().Add(printPatience)); err != nil {
			return fmt.Errorf("print %s: %w", v.Name, err)
		}
		if _, err := fmt.Fprintf(p.term, "%s %.2f %s OK\n", v.Name, value, v.Unit); err != nil {
			return fmt.Errorf("print %s: %w", v.Name, err)
		}
	}
	return nil
}

// Close takes the instrument off the line.
func (p *Printer) Close() error { return p.term.Close() }
