package modbus

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// Functions that the master uses.
const (
	ReadHolding byte = 3 // read holding registers
	ReadInput   byte = 4 // read input registers
)

// MaxCount is the most registers that one request may ask for (application
// protocol V1.1b3, sections 6.3 and 6.4: quantity 1 to 125).
const MaxCount = 125

const (
	requestLen   = 8 // unit, function, address, count, checksum
	exceptionLen = 5 // unit, function with its top bit set, code, checksum
	overhead     = 5 // of a reply: unit, function, byte count, checksum
)

var (
	// ErrShort says that a frame ended too early.
	ErrShort = errors.New("short frame")
	// ErrCRC says that a frame's checksum is wrong.
	ErrCRC = errors.New("crc error")
	// ErrOther says that a frame is sound, but not an answer to what was asked.
	ErrOther = errors.New("not an answer to the request")
)

// Exception is a unit's own refusal of a request.
type Exception byte

// Exceptions, application protocol V1.1b3, section 7.
const (
	IllegalFunction    Exception = 0x01
	IllegalDataAddress Exception = 0x02
	IllegalDataValue   Exception = 0x03
	DeviceFailure      Exception = 0x04
	Acknowledge        Exception = 0x05
	DeviceBusy         Exception = 0x06
	MemoryParityError  Exception = 0x08
	GatewayPath        Exception = 0x0A
	GatewayTarget      Exception = 0x0B
)

// exceptionNames are the names of the exceptions in the specification.
var exceptionNames = map[Exception]string{
	IllegalFunction:    "illegal function",
	IllegalDataAddress: "illegal data address",
	IllegalDataValue:   "illegal data value",
	DeviceFailure:      "server device failure",
	Acknowledge:        "acknowledge",
	DeviceBusy:         "server device busy",
	MemoryParityError:  "memory parity error",
	GatewayPath:        "gateway path unavailable",
	GatewayTarget:      "gateway target device failed to respond",
}

// Error gives the exception's name and number.
func (e Exception) Error() string {
	name, known := exceptionNames[e]
	if !known {
		name = "unknown"
	}
	return fmt.Sprintf("exception %d, %s", byte(e), name)
}

// CRC is the checksum of an RTU frame over b: CRC-16 with start value FFFF and
// polynomial A001 (reversed 8005), sent low byte first (serial line V1.02,
// section 6.2.2).
func CRC(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, c := range b {
		crc ^= uint16(c)
		for range 8 {
			low := crc & 1
			crc >>= 1
			if low == 1 {
				crc ^= 0xA001
			}
		}
	}
	return crc
}

// Seal appends to frame its checksum.
func Seal(frame []byte) []byte {
	return binary.LittleEndian.AppendUint16(frame, CRC(frame))
}

// Sealed says whether frame ends with its right checksum. A frame has at least
// unit, function and checksum.
func Sealed(frame []byte) bool {
	n := len(frame) - 2
	return n >= 2 && binary.LittleEndian.Uint16(frame[n:]) == CRC(frame[:n])
}

// Request asks a unit for Count registers from Address on.
type Request struct {
	Unit     byte   // address of the unit on the line, 1 to 247
	Function byte   // ReadHolding or ReadInput
	Address  uint16 // first register, counted from 0
	Count    uint16 // number of registers, 1 to MaxCount
}

// String names the request for people, e.g. "unit 7, function 4, registers 0 to 3".
func (r Request) String() string {
	if r.Count == 1 {
		return fmt.Sprintf("unit %d, function %d, register %d", r.Unit, r.Function, r.Address)
	}
	return fmt.Sprintf("unit %d, function %d, registers %d to %d", r.Unit, r.Function, r.Address, int(r.Address)+int(r.Count)-1)
}

// Append appends the request's frame to dst.
func (r Request) Append(dst []byte) []byte {
	frame := []byte{r.Unit, r.Function}
	frame = binary.BigEndian.AppendUint16(frame, r.Address)
	frame = binary.BigEndian.AppendUint16(frame, r.Count)
	return append(dst, Seal(frame)...)
}

// DecodeRequest reads the frame of a request for functions 3 and 4. It does
// not judge the count: a unit answers a wrong one with an exception. With an
// error the request is zero.
func DecodeRequest(frame []byte) (Request, error) {
	switch {
	case len(frame) < requestLen:
		return Request{}, fmt.Errorf("decode request: %w: %d of %d bytes", ErrShort, len(frame), requestLen)
	case len(frame) > requestLen || !Sealed(frame):
		return Request{}, fmt.Errorf("decode request of %d bytes: %w", len(frame), ErrCRC)
	case frame[1] != ReadHolding && frame[1] != ReadInput:
		return Request{}, fmt.Errorf("decode request: %w", IllegalFunction)
	}
	return Request{
		Unit:     frame[0],
		Function: frame[1],
		Address:  binary.BigEndian.Uint16(frame[2:]),
		Count:    binary.BigEndian.Uint16(frame[4:]),
	}, nil
}

// ReplyLen is the length of the reply's frame, bytes.
func (r Request) ReplyLen() int { return overhead + 2*int(r.Count) }

// AppendReply appends to dst the frame that answers r with words; there are
// r.Count of them, at most MaxCount.
func (r Request) AppendReply(dst []byte, words []uint16) []byte {
	frame := []byte{r.Unit, r.Function, byte(2 * len(words))}
	for _, w := range words {
		frame = binary.BigEndian.AppendUint16(frame, w)
	}
	return append(dst, Seal(frame)...)
}

// AppendException appends to dst the frame that refuses r with e.
func (r Request) AppendException(dst []byte, e Exception) []byte {
	return append(dst, Seal([]byte{r.Unit, r.Function | 0x80, byte(e)})...)
}

// DecodeReply reads the frame of an answer to r: its registers, or the unit's
// Exception, or an error that wraps ErrShort, ErrCRC or ErrOther. With an
// error the registers are nil.
func (r Request) DecodeReply(frame []byte) ([]uint16, error) {
	if len(frame) < exceptionLen {
		return nil, fmt.Errorf("%w: %d bytes", ErrShort, len(frame))
	}
	if !Sealed(frame) {
		if len(frame) < r.ReplyLen() {
			return nil, fmt.Errorf("%w: %d of %d bytes", ErrShort, len(frame), r.ReplyLen())
		}
		return nil, fmt.Errorf("%w in %d bytes", ErrCRC, len(frame))
	}
	switch {
	case frame[0] != r.Unit:
		return nil, fmt.Errorf("%w: unit %d answered", ErrOther, frame[0])
	case frame[1] == r.Function|0x80 && len(frame) == exceptionLen:
		return nil, Exception(frame[2])
	case frame[1] != r.Function:
		return nil, fmt.Errorf("%w: it has function %d", ErrOther, frame[1])
	case len(frame) != r.ReplyLen() || int(frame[2]) != 2*int(r.Count):
		return nil, fmt.Errorf("%w: it has %d bytes and says %d bytes of registers, asked for %d registers",
			ErrOther, len(frame), frame[2], r.Count)
	}
	words := make([]uint16, r.Count)
	for i := range words {
		words[i] = binary.BigEndian.Uint16(frame[3+2*i:])
	}
	return words, nil
}

// FindReply looks for an answer to r in what came off the line, skipping what
// comes before it: a glitch when a transmitter switches on, or the echo of the
// request that some adapters give. found is false while there is none; else
// words and err are those of DecodeReply: the registers, or an Exception.
func (r Request) FindReply(came []byte) (words []uint16, found bool, err error) {
	for i := range came {
		rest := came[i:]
		if len(rest) < exceptionLen {
			break
		}
		if rest[0] != r.Unit {
			continue
		}
		switch {
		case rest[1] == r.Function|0x80:
			rest = rest[:exceptionLen]
		case rest[1] == r.Function && len(rest) >= r.ReplyLen():
			rest = rest[:r.ReplyLen()]
		default:
			continue
		}
		words, err := r.DecodeReply(rest)
		if answered(err) {
			return words, true, err
		}
	}
	return nil, false, nil
}

// answered says whether err is what a sound answer leaves: nil or an Exception.
func answered(err error) bool {
	var e Exception
	return err == nil || errors.As(err, &e)
}
