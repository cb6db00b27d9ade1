package modem

import (
	"time"

	"undersheet/sensor/modbus/slave"
)

// writeWithin is how long a reader may leave bytes lying before they are dropped.
const writeWithin = 2 * time.Second

// terminal is the modem's end of a pseudo-terminal.
type terminal struct{ *slave.Terminal }

// write sends raw; what is not taken in time, or by nobody, is lost, as on a wire.
func (t *terminal) write(raw string) {
	_ = t.SetWriteDeadline(time.Now().Add(writeWithin))
	_, _ = t.WriteString(raw)
}
