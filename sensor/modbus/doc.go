// Package modbus reads instruments on a serial line with Modbus RTU, as master.
//
//	m := modbus.New(modbus.Config{
//		Name: "rack 1",
//		Port: port.Config{Device: "/dev/ttyUSB0", Baud: 19200, Parity: "even"},
//		Units: []modbus.Unit{{
//			Address: 7, Every: time.Minute, Retries: modbus.DefaultRetries,
//			Registers: []modbus.Register{
//				{Channel: "b-north-top", Function: 4, Address: 0, Type: "float32", Unit: "ppm"},
//			},
//		}},
//	}, sink, modbus.Options{})
//	err := m.Run(ctx)
//
// Check the Config with its Validate before. The master polls every unit at its
// own interval, reads registers that are adjacent with one request, and gives
// the readings of one poll to the sink together. A unit that does not answer
// costs its own timeouts, and no other unit anything; the sink hears of it
// once, and once again when it answers. When the serial device disappears the
// master waits for it and goes on.
//
// It refuses what would turn a broken line into a number: a frame counts only
// with the right unit, function, length and checksum; a float that is no finite
// number becomes a reading with a fault; and after an attempt that failed, a
// unit is not asked for other registers until an answer that comes late can no
// longer be taken for the wrong registers (RTU answers do not say which
// registers they hold).
//
// It only reads (functions 3 and 4): nothing in this package writes to an
// instrument. Broadcasts, ASCII framing and Modbus/TCP are not spoken.
//
// Sources: MODBUS Application Protocol Specification V1.1b3 (functions,
// exceptions) and MODBUS over Serial Line V1.02 (frames, checksum, silence).
// The package's sub-package slave answers as an instrument would, for
// simulations and tests.
package modbus
