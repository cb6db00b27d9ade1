package pdu

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Submit is one part of a message on its way to the service centre.
type Submit struct {
	Centre   string        // number of the service centre; empty: the one that the modem has
	Number   string        // of the receiver, as Number returns it
	Alphabet Alphabet      // of Text
	Text     string        // of this part
	Validity time.Duration // how long the centre keeps trying; 0: as long as it does by itself. Rounded up to a step of TP-VP

	Reference byte // the same in all parts of one message
	Part      int  // from 1; 0 = the message has one part only
	Parts     int  // 2 to 255; 0 = the message has one part only

	MessageReference byte // TP-MR; a modem puts its own in place of 0
}

// Bits and fields of the first octet, TS 23.040 section 9.2.2.2.
const (
	mtiSubmit   = 0x01
	vpfRelative = 0x10
	udhi        = 0x40 // a user data header is there
	knownBits   = mtiSubmit | vpfRelative | udhi
)

// header lengths of a concatenated message, TS 23.040 section 9.2.3.24.1.
const (
	headerOctets = 6 // UDHL, IEI, IEDL, reference, parts, part
	fillBits     = 1 // 48 header bits and one are seven septets
	headerCodes  = 7 // septets that the header takes
)

// Encode writes the part as upper-case hexadecimal digits, the address of the
// service centre first, and tells the length for AT+CMGS: the octets without
// that address. It fails when a number is none, a character is not in the
// alphabet, the text is too long for a part, or the part's number is not among
// the parts.
func (s Submit) Encode() (tpdu string, length int, err error) {
	if err := s.check(); err != nil {
		return "", 0, fmt.Errorf("write short message: %w", err)
	}
	centre := []byte{0}
	if s.Centre != "" {
		octets, _ := address(s.Centre)
		centre = append([]byte{byte(len(octets))}, octets...)
	}
	first := byte(mtiSubmit)
	if s.Validity > 0 {
		first |= vpfRelative
	}
	if s.Parts > 0 {
		first |= udhi
	}
	receiver, digits := address(s.Number)
	b := append([]byte{first, s.MessageReference, byte(digits)}, receiver...)
	b = append(b, 0, byte(s.Alphabet)) // TP-PID 0: between two people's telephones
	if s.Validity > 0 {
		b = append(b, validity(s.Validity))
	}
	b = append(b, s.userData()...)
	return strings.ToUpper(hex.EncodeToString(append(centre, b...))), len(b), nil
}

// check reports what cannot be written.
func (s Submit) check() error {
	if n, err := Number(s.Number); err != nil || n != s.Number {
		return errors.Join(err, fmt.Errorf("receiver %q is not as Number returns it", s.Number))
	}
	if n, err := Number(s.Centre); s.Centre != "" && (err != nil || n != s.Centre) {
		return errors.Join(err, fmt.Errorf("service centre %q is not as Number returns it", s.Centre))
	}
	if s.Part == 0 && s.Parts == 0 && s.Reference != 0 || s.Parts == 1 || s.Parts > 255 || s.Part < min(1, s.Parts) || s.Part > s.Parts {
		return fmt.Errorf("part %d of %d with reference %d: several parts are numbered from 1, a single one has neither number nor reference", s.Part, s.Parts, s.Reference)
	}
	if s.Alphabet != GSM7 && s.Alphabet != UCS2 {
		return fmt.Errorf("alphabet 0x%02x is not known here", byte(s.Alphabet))
	}
	if _, ok := s.codes(); !ok {
		return errors.New("the text has characters that the alphabet does not have")
	}
	if n, room := s.Alphabet.Units(s.Text), s.Alphabet.Room(s.Parts > 0); n > room {
		return fmt.Errorf("the text takes %d characters and a part has room for %d", n, room)
	}
	return nil
}

// codes writes the text in its alphabet, septets not yet packed.
func (s Submit) codes() ([]byte, bool) {
	if s.Alphabet == GSM7 {
		return septets(s.Text)
	}
	return ucs2(s.Text)
}

// userData returns TP-UDL and TP-UD.
func (s Submit) userData() []byte {
	codes, _ := s.codes()
	length, fill := len(codes), 0
	var header []byte
	if s.Parts > 0 {
		header = []byte{headerOctets - 1, 0, 3, s.Reference, byte(s.Parts), byte(s.Part)}
		if s.Alphabet == GSM7 {
			length, fill = length+headerCodes, fillBits
		} else {
			length += headerOctets
		}
	}
	if s.Alphabet == GSM7 {
		codes = pack(codes, fill)
	}
	return append(append([]byte{byte(length)}, header...), codes...)
}

// validity writes a relative TP-VP, TS 23.040 section 9.2.3.12.1: the shortest
// step that is not below d.
func validity(d time.Duration) byte {
	for v := range 255 {
		if validFor(byte(v)) >= d {
			return byte(v)
		}
	}
	return 255
}

// validFor reads a relative TP-VP.
func validFor(v byte) time.Duration {
	n := time.Duration(v)
	switch {
	case v <= 143:
		return (n + 1) * 5 * time.Minute
	case v <= 167:
		return 12*time.Hour + (n-143)*30*time.Minute
	case v <= 196:
		return (n - 166) * 24 * time.Hour
	}
	return (n - 192) * 7 * 24 * time.Hour
}
