package pdu

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
)

// errShort says that a PDU ends before it is complete.
var errShort = errors.New("it ends too early")

// maxOctets is the longest PDU: the centre's address, and a TPDU of 14 octets
// before 140 of user data, with room to spare.
const maxOctets = 200

// Decode reads what Submit.Encode writes. What comes back writes the same
// digits again; with an error the Submit is empty.
func Decode(tpdu string) (Submit, error) {
	if len(tpdu) > 2*maxOctets {
		return Submit{}, fmt.Errorf("read short message: %d digits are too many", len(tpdu))
	}
	b, err := hex.DecodeString(tpdu)
	if err != nil {
		return Submit{}, fmt.Errorf("read short message: %w", err)
	}
	r := reader{left: b}
	s, err := r.submit()
	if err != nil {
		return Submit{}, fmt.Errorf("read short message: %w", err)
	}
	again, _, err := s.Encode()
	if err != nil {
		return Submit{}, fmt.Errorf("read short message: %w", err)
	}
	if again != strings.ToUpper(tpdu) {
		return Submit{}, errors.New("read short message: it has fill bits or steps that no encoder writes")
	}
	return s, nil
}

// reader takes octets off a PDU; after the end it gives zeros and remembers it.
type reader struct {
	left  []byte
	short bool
}

// take returns the next n octets.
func (r *reader) take(n int) []byte {
	if n > len(r.left) {
		r.short = true
		return make([]byte, n)
	}
	b := r.left[:n]
	r.left = r.left[n:]
	return b
}

// one returns the next octet.
func (r *reader) one() byte { return r.take(1)[0] }

// submit reads a whole PDU.
func (r *reader) submit() (s Submit, err error) {
	if s.Centre, err = r.centre(); err != nil {
		return Submit{}, err
	}
	first := r.one()
	if first&0x03 != mtiSubmit || first&^knownBits != 0 {
		return Submit{}, fmt.Errorf("first octet 0x%02x is no plain SMS-SUBMIT", first)
	}
	s.MessageReference = r.one()
	if s.Number, err = r.number(int(r.one())); err != nil {
		return Submit{}, err
	}
	if pid := r.one(); pid != 0 {
		return Submit{}, fmt.Errorf("protocol identifier 0x%02x is not known here", pid)
	}
	s.Alphabet = Alphabet(r.one())
	if first&vpfRelative != 0 {
		s.Validity = validFor(r.one())
	}
	err = r.userData(&s, first&udhi != 0)
	switch {
	case r.short:
		return Submit{}, errShort
	case err != nil:
		return Submit{}, err
	case len(r.left) > 0:
		return Submit{}, fmt.Errorf("%d octets follow after its end", len(r.left))
	}
	return s, nil
}

// centre reads the address of the service centre, whose length counts octets.
func (r *reader) centre() (string, error) {
	n := int(r.one())
	if n == 0 {
		return "", nil
	}
	octets := r.take(n)
	if r.short {
		return "", errShort
	}
	digits := 2 * (n - 1)
	if digits > 0 && octets[n-1]>>4 == 0xF {
		digits--
	}
	return unaddress(octets, digits)
}

// number reads the receiver's address, whose length counts digits.
func (r *reader) number(digits int) (string, error) {
	octets := r.take(1 + (digits+1)/2)
	if r.short {
		return "", errShort
	}
	return unaddress(octets, digits)
}

// userData reads TP-UDL and TP-UD into s.
func (r *reader) userData(s *Submit, withHeader bool) error {
	length := int(r.one())
	octets := length
	if s.Alphabet == GSM7 {
		octets = (length*7 + 7) / 8
	}
	data, fill := r.take(octets), 0
	if r.short {
		return errShort
	}
	if withHeader {
		if len(data) < headerOctets || length < headerCodes && s.Alphabet == GSM7 || data[0] != headerOctets-1 || data[1] != 0 || data[2] != 3 {
			return errors.New("its user data header is not that of a concatenated message")
		}
		s.Reference, s.Parts, s.Part = data[3], int(data[4]), int(data[5])
		if s.Parts == 0 {
			return errors.New("its user data header counts no parts")
		}
		data, length, fill = data[headerOctets:], length-headerCodes, fillBits
	}
	ok := false
	switch s.Alphabet {
	case GSM7:
		s.Text, ok = unseptets(unpack(data, length, fill))
	case UCS2:
		s.Text, ok = unucs2(data)
	}
	if !ok {
		return fmt.Errorf("its text is not of alphabet 0x%02x", byte(s.Alphabet))
	}
	return nil
}
