package logbook

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
)

// Limits of a block.
const (
	BlockVersion    = 1        // newest block format that this program writes and understands
	MaxBlockEntries = 1024     // entries in one block
	MaxBlockContent = 16 << 20 // bytes of content of one block
	headerSize      = 4 + 2 + 2 + 16 + 8 + 8 + 4 + 8 + 32 + 32
)

var blockMagic = [4]byte{'U', 'S', 'B', 'L'}

// ErrBlockDamaged marks a block that is not what was written.
var ErrBlockDamaged = errors.New("the block is damaged")

// Hash is a SHA-256 sum.
type Hash [sha256.Size]byte

// String returns h in hexadecimal, 64 digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// LogID is the random name of one log.
type LogID [16]byte

// String returns l in hexadecimal, 32 digits.
func (l LogID) String() string { return hex.EncodeToString(l[:]) }

// ParseLogID reads 32 hexadecimal digits.
func ParseLogID(s string) (l LogID, err error) {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != len(l) {
		return l, fmt.Errorf("parse log id %q: want %d hexadecimal digits", s, 2*len(l))
	}
	copy(l[:], b)
	return l, nil
}

// BlockHeader binds a block's content to its place in the log and to the block
// before it. The chain of hashes runs over encoded headers.
type BlockHeader struct {
	Format      uint16 // block version it was written in
	Entries     uint16 // version of its entries
	LogID       LogID
	First, Last uint64 // seqs of the block's entries, without gaps
	Count       uint32 // entries in the block: Last - First + 1
	Received    Time   // when the block was committed: that of all its entries
	Prev        Hash   // of the header before; zero for the first block of all
	Content     Hash   // SHA-256 of the content as stored
}

// Encode returns the header's fixed binary form: the magic "USBL", block version
// and entry version (2 bytes each), log id, first, last, count, received, hash of
// the previous header, hash of the content; integers are big-endian.
func (h BlockHeader) Encode() []byte {
	b := make([]byte, 0, headerSize)
	b = append(b, blockMagic[:]...)
	b = binary.BigEndian.AppendUint16(b, h.Format)
	b = binary.BigEndian.AppendUint16(b, h.Entries)
	b = append(b, h.LogID[:]...)
	b = binary.BigEndian.AppendUint64(b, h.First)
	b = binary.BigEndian.AppendUint64(b, h.Last)
	b = binary.BigEndian.AppendUint32(b, h.Count)
	b = binary.BigEndian.AppendUint64(b, uint64(h.Received))
	b = append(b, h.Prev[:]...)
	return append(b, h.Content[:]...)
}

// Hash returns the hash of the encoded header, which the next block carries.
func (h BlockHeader) Hash() Hash { return sha256.Sum256(h.Encode()) }

// DecodeBlockHeader reads what Encode wrote. A newer version gives ErrNewer,
// anything else that Encode would not write gives ErrBlockDamaged.
func DecodeBlockHeader(b []byte) (BlockHeader, error) {
	var h BlockHeader
	if len(b) < 8 || !bytes.Equal(b[:4], blockMagic[:]) {
		return h, fmt.Errorf("%w: its header does not begin with %q", ErrBlockDamaged, blockMagic)
	}
	h.Format, h.Entries = binary.BigEndian.Uint16(b[4:]), binary.BigEndian.Uint16(b[6:])
	if h.Format > BlockVersion || h.Entries > Version {
		return BlockHeader{}, fmt.Errorf("block version %d with entries of version %d: %w", h.Format, h.Entries, ErrNewer)
	}
	if len(b) != headerSize || h.Format == 0 || h.Entries == 0 {
		return BlockHeader{}, fmt.Errorf("%w: its header has %d bytes of version %d, want %d", ErrBlockDamaged, len(b), h.Format, headerSize)
	}
	b = b[8+copy(h.LogID[:], b[8:]):]
	h.First, h.Last = binary.BigEndian.Uint64(b), binary.BigEndian.Uint64(b[8:])
	h.Count, h.Received = binary.BigEndian.Uint32(b[16:]), Time(binary.BigEndian.Uint64(b[20:]))
	copy(h.Prev[:], b[28:])
	copy(h.Content[:], b[60:])
	if h.First == 0 || h.Count == 0 || h.Count > MaxBlockEntries || h.Last-h.First+1 != uint64(h.Count) {
		return BlockHeader{}, fmt.Errorf("%w: its header says entries %d to %d, %d in all", ErrBlockDamaged, h.First, h.Last, h.Count)
	}
	return h, nil
}

// EncodeBlock makes a block of entries that were committed together: their Seq
// follow one another, their Received are the same and V is [Version]. It fills
// in the rest of the header.
func EncodeBlock(id LogID, prev Hash, entries []Entry) (BlockHeader, []byte, error) {
	if len(entries) == 0 || len(entries) > MaxBlockEntries {
		return BlockHeader{}, nil, fmt.Errorf("encode block of %d entries: want 1 to %d", len(entries), MaxBlockEntries)
	}
	first := entries[0].Head()
	h := BlockHeader{Format: BlockVersion, Entries: Version, LogID: id, Prev: prev, First: first.Seq, Last: first.Seq + uint64(len(entries)) - 1,
		Count: uint32(len(entries)), Received: first.Received}
	if h.First == 0 {
		return BlockHeader{}, nil, errors.New("encode block: its entries have no seq")
	}
	content, err := encodeContent(h, entries)
	if err != nil {
		return BlockHeader{}, nil, fmt.Errorf("encode block at seq %d: %w", h.First, err)
	}
	h.Content = sha256.Sum256(content)
	return h, content, nil
}

// DecodeBlock returns the entries of a block. It returns ErrBlockDamaged and
// no entries when the content is not that of the header.
func DecodeBlock(h BlockHeader, content []byte) ([]Entry, error) {
	if sum := sha256.Sum256(content); sum != h.Content {
		return nil, fmt.Errorf("%w: the content of entries %d to %d has the SHA-256 %x, its header says %x",
			ErrBlockDamaged, h.First, h.Last, sum[:6], h.Content[:6])
	}
	entries, err := decodeContent(h, content)
	if err != nil {
		return nil, fmt.Errorf("decode block of entries %d to %d: %w", h.First, h.Last, err)
	}
	return entries, nil
}
