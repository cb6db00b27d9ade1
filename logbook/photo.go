package logbook

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
)

// KindPhoto attaches a picture to a stack, a store or an entry.
const KindPhoto Kind = "photo-attached"

// MostPhoto is how large a picture may be, in bytes: a telephone's, made smaller.
const MostPhoto = 1 << 20

// PhotoAttached keeps a picture, whole, in the logbook: of a hole and its patch, of a
// tray, of a signed paper.
type PhotoAttached struct {
	Header
	Store  string `json:"store,omitempty"`
	Stack  string `json:"stack,omitempty"`
	Of     uint64 `json:"of,omitempty"` // seq of an entry that it belongs to
	Name   string `json:"name"`
	Media  string `json:"media"`  // image/jpeg or image/png
	SHA256 string `json:"sha256"` // of Data, in hexadecimal digits
	Data   []byte `json:"data"`
	Act
}

// Place implements Acting.
func (p *PhotoAttached) Place() (store, stack string) { return p.Store, p.Stack }

// MediaOf returns what a picture is, by its first bytes; empty = neither JPEG nor PNG.
func MediaOf(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		return "image/jpeg"
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	}
	return ""
}

// Validate implements Entry.
func (p *PhotoAttached) Validate() error {
	if err := need("name", p.Name, "media", p.Media, "sha256", p.SHA256); err != nil {
		return err
	}
	sum := sha256.Sum256(p.Data)
	switch {
	case p.Store == "" && p.Stack == "":
		return errors.New("a photo names a \"store\" or a \"stack\"")
	case len(p.Data) > MostPhoto:
		return fmt.Errorf("the photo has %d bytes: %d at most, make it smaller", len(p.Data), MostPhoto)
	case MediaOf(p.Data) == "" || MediaOf(p.Data) != p.Media:
		return fmt.Errorf("the photo is no %s: JPEG and PNG are kept", p.Media)
	case hex.EncodeToString(sum[:]) != p.SHA256:
		return errors.New("the photo is not the one that its \"sha256\" is of")
	}
	return nil
}
