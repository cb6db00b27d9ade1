package pdu

import (
	"errors"
	"fmt"
	"strings"
)

// Types of number with the telephone numbering plan, TS 23.040 section 9.1.2.5.
const (
	international = 0x91
	unknown       = 0x81 // short codes and national numbers: the network knows what they are
)

// maxDigits is the most digits of an address, TS 23.040 section 9.1.2.3.
const maxDigits = 20

// Number returns s without the spaces and hyphens that people write, or an
// error when it is no telephone number: digits, with or without a + before them.
func Number(s string) (string, error) {
	n := strings.NewReplacer(" ", "", "-", "", "\u00a0", "").Replace(s)
	digits := strings.TrimPrefix(n, "+")
	switch {
	case digits == "":
		return "", errors.New("the telephone number is empty")
	case strings.Trim(digits, "0123456789") != "":
		return "", fmt.Errorf("telephone number %q: must be digits, with + and the country code before them (or a short code)", s)
	case len(digits) > maxDigits:
		return "", fmt.Errorf("telephone number %q: must have at most %d digits (has %d)", s, maxDigits, len(digits))
	}
	return n, nil
}

// address writes a number as its type and its swapped half-octets (TS 23.040,
// 9.1.2.3), and how many digits it has.
func address(number string) (octets []byte, digits int) {
	kind := byte(unknown)
	if strings.HasPrefix(number, "+") {
		kind, number = international, number[1:]
	}
	octets = []byte{kind}
	for i := 0; i < len(number); i += 2 {
		low, high := number[i]-'0', byte(0xF)
		if i+1 < len(number) {
			high = number[i+1] - '0'
		}
		octets = append(octets, high<<4|low)
	}
	return octets, len(number)
}

// unaddress is the way back.
func unaddress(octets []byte, digits int) (string, error) {
	var b strings.Builder
	switch octets[0] {
	case international:
		b.WriteByte('+')
	case unknown:
	default:
		return "", fmt.Errorf("type of number 0x%02x is not known here", octets[0])
	}
	for i := range digits {
		d := octets[1+i/2] >> (4 * (i % 2)) & 0xF
		if d > 9 {
			return "", fmt.Errorf("half-octet 0x%x in a number is no digit", d)
		}
		b.WriteByte('0' + d)
	}
	if digits%2 == 1 && octets[len(octets)-1]>>4 != 0xF {
		return "", errors.New("a number of odd length does not end in the fill 0xf")
	}
	return b.String(), nil
}
