// Package pdu writes and reads short messages as a GSM modem takes them in PDU
// mode: the SMS-SUBMIT of 3GPP TS 23.040 with the alphabets of 3GPP TS 23.038.
//
//	for _, part := range pdu.Split(text, pdu.Best(text), 7) {   // 7: reference of this message
//		part.Number = "+447700900123"
//		tpdu, length, err := part.Encode()          // AT+CMGS=length, then tpdu, then Ctrl-Z
//	}
//	m, err := pdu.Decode(tpdu)                      // the way back, for modem emulators and tests
//
// A text goes in the GSM 7-bit default alphabet with its extension table where
// every character is in them (160 in one part, 153 in each of several), else in
// UCS-2 (70 and 67), characters beyond the basic plane as UTF-16 surrogates. No
// part ends within an escape sequence or a surrogate pair.
//
// It refuses the national language tables, 8-bit data, flash classes, ports and
// status reports: alarms need none of them. [Decode] refuses what [Submit.Encode]
// would not write, byte for byte.
//
// The package is pure: no clock, no input or output.
package pdu
