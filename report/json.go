package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
)

// WriteJSON writes the report as one JSON object (RFC 8259), indented: the fields of
// [Report], no words but those of the log. Computed figures have 6 significant digits,
// so that they agree across processors; none is NaN or infinite, that would be an error.
func (r *Report) WriteJSON(w io.Writer) error {
	stated := *r
	stated.Stated = r.Statement("en")
	return WriteObject(w, &stated)
}

// WriteObject writes v as one JSON object as [Report.WriteJSON] does.
func WriteObject(w io.Writer, v any) error {
	plainly, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write report as JSON: %w", err)
	}
	var b bytes.Buffer
	if err := json.Indent(&b, rounded(plainly), "", "  "); err != nil {
		return fmt.Errorf("write report as JSON: %w", err)
	}
	b.WriteByte('\n')
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write report as JSON: %w", err)
	}
	return nil
}

// rounded writes the broken numbers of a JSON text with 6 significant digits; whole
// ones and what stands in strings stay as they are.
func rounded(text []byte) []byte {
	out := make([]byte, 0, len(text))
	for i := 0; i < len(text); {
		switch c := text[i]; {
		case c == '"':
			end := i + 1
			for text[end] != '"' {
				if text[end] == '\\' {
					end++
				}
				end++
			}
			out = append(out, text[i:end+1]...)
			i = end + 1
		case c == '-' || c >= '0' && c <= '9':
			end := i + 1
			for end < len(text) && bytes.IndexByte([]byte("+-.eE0123456789"), text[end]) >= 0 {
				end++
			}
			number := text[i:end]
			if v, err := strconv.ParseFloat(string(number), 64); err == nil && bytes.ContainsAny(number, ".eE") {
				out = strconv.AppendFloat(out, v, 'g', 6, 64)
			} else {
				out = append(out, number...)
			}
			i = end
		default:
			out = append(out, c)
			i++
		}
	}
	return out
}
