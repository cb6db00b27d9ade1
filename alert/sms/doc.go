// Package sms hands alert's letters to a GSM modem on a serial line, which sends
// them as short messages.
//
//	m, err := sms.New(*site.SMS, sms.Options{Logger: logger})
//	go m.Run(ctx)                       // opens the modem, keeps it ready, looks at it every minute
//	err = m.Deliver(ctx, &delivery)     // through Run; fails soon while the modem cannot send
//	m.Stats()                           // signal, registration, what is wrong
//
// The commands are those of 3GPP TS 27.007 (SIM, registration, signal) and TS
// 27.005 (messages). PDU mode is the default; "mode: text" is for modems whose
// PDU mode is broken. What text mode cannot say in the default alphabet goes as
// UCS2, and long texts go as single messages that begin with their number, "1/3",
// because text mode has no common way to join them.
//
// # What is sent
//
// The letter's Short, or its heading when it has none; a repeat and a letter
// that is late say so first. Typographic marks become plain ones where that lets
// the text go in the GSM alphabet. A text of more than six parts is cut before
// its last line, which is the emergency line, never in it.
//
// # The PIN
//
// A SIM locks itself after three wrong PINs, and only its PUK opens it again. A
// PIN that was refused is therefore never tried again by the same process, nor
// is one whose answer never came while the SIM still asks for it; another one
// from the changed file or environment is. Where the modem tells how many tries
// are left (+CPINR), the last one is left to a person. A modem that does not tell
// gets one try at each start of the program and at most two from one process: do
// not start again and again with a wrong PIN. The PIN is read when it is needed, and
// is in no log and no error.
//
// # Failures
//
// They come back as *alert.Failure: temporary (no network, congestion, a modem
// that hangs or is unplugged), permanent (PIN refused, PUK asked for, barred,
// number that does not exist), and in doubt (the message was given and the
// answer did not come in time, or some parts of it were sent and others were
// not). Whether a person got the message is never known: the service centre took
// charge of it, that is all.
//
// # A modem that misbehaves
//
// Every wait has a deadline. After an answer that did not come in time nothing is
// asked but questions whose answers name them, until one is answered: so a late
// OK is never taken for the answer of the next command. A modem that stays silent
// is closed and opened again; so is one that was unplugged, once it is back.
// Unsolicited lines, echo, noise and answers in pieces do not matter.
package sms
