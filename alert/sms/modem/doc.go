// Package modem is a GSM modem made by software behind a pseudo-terminal, for
// demonstrations and tests: it takes short messages by the commands of 3GPP TS
// 27.005 and 27.007 and gives them to a function instead of a network.
//
//	m, err := modem.New(modem.Options{PIN: "4711", Received: func(s modem.Message) { fmt.Println(s.To, s.Text) }})
//	go m.Run(ctx)
//	// a program that sends short messages opens m.Device() as its serial port
//
// Messages of several parts are put together again before they are given. PDU
// mode and text mode are spoken, a SIM asks for its PIN and locks itself, and the
// echo is on until it is turned off, as in a modem out of its box.
//
// A [Fault] makes it misbehave: answer late, never, in pieces, something else, or
// disappear. Like most modems it works one command after the other: while an
// answer is late, further commands wait.
//
// It receives no messages and takes no calls, and knows no more commands than
// are needed to send; any other is answered with ERROR.
package modem
