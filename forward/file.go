package forward

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"

	"undersheet/logbook/sqlite"
)

// file is a destination that batches are appended to.
type file struct {
	path   string
	logger *slog.Logger
	size   int64 // up to the end of the last whole batch
}

// comment stands after each batch in the file.
type comment struct {
	cursor sqlite.Cursor
	log    string
	lines  int
	bytes  int // of the batch, without the comment
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// The form of a comment: what the checksum covers, and the checksum.
const (
	commentForm = "# seq %d site %d log %s lines %d bytes %d crc32c "
	sumForm     = "%08x\n"
	commentHead = "# seq "
	mostComment = 256 // bytes
)

// appendComment appends the comment of the batch text, which stands at the end of buf.
func appendComment(buf []byte, c comment) []byte {
	from := len(buf) - c.bytes
	buf = fmt.Appendf(buf, commentForm, c.cursor.Seq, c.cursor.Site, c.log, c.lines, c.bytes)
	return fmt.Appendf(buf, sumForm, crc32.Checksum(buf[from:], castagnoli))
}

// parseComment reads a line with its line end; false when it is no comment of
// this form.
func parseComment(line []byte) (c comment, ok bool) {
	var sum uint32
	if len(line) > mostComment {
		return c, false
	}
	_, err := fmt.Sscanf(string(line), commentForm+"%x\n", &c.cursor.Seq, &c.cursor.Site, &c.log, &c.lines, &c.bytes, &sum)
	back := fmt.Appendf(nil, commentForm+sumForm, c.cursor.Seq, c.cursor.Site, c.log, c.lines, c.bytes, sum)
	return c, err == nil && c.bytes >= 0 && bytes.Equal(back, line)
}

// mostTail is how far from the end of a file its last whole batch is looked for.
const mostTail = 64 << 20

// errForeign says that a file was not written by this package.
var errForeign = errors.New("it does not end with lines of this program: give another file name, or move the file away")

// lastComment finds the last comment of f, of this size, whose batch is whole,
// and where it ends.
func lastComment(f io.ReaderAt, size int64) (c comment, end int64, err error) {
	for window := int64(64 << 10); ; window *= 4 {
		window = min(window, size)
		tail := make([]byte, window)
		if _, err := f.ReadAt(tail, size-window); err != nil && err != io.EOF {
			return c, 0, err
		}
		for to := len(tail); ; {
			at := bytes.LastIndex(tail[:to], []byte(commentHead))
			if at < 0 {
				break
			}
			to = at + len(commentHead) - 1
			if n := bytes.IndexByte(tail[at:], '\n'); n >= 0 {
				c, whole, err := wholeBatch(f, size-window+int64(at), tail[at:at+n+1])
				if err != nil || whole {
					return c, size - window + int64(at+n+1), err
				}
			}
		}
		if window == size || window >= mostTail {
			return c, 0, errForeign
		}
	}
}

// wholeBatch reads the comment line, which stands at offset at of f, and checks
// the batch before it.
func wholeBatch(f io.ReaderAt, at int64, line []byte) (c comment, whole bool, err error) {
	c, ok := parseComment(line)
	if !ok || int64(c.bytes) > min(at, mostTail) {
		return c, false, nil
	}
	text := make([]byte, c.bytes, c.bytes+len(line))
	if _, err := f.ReadAt(text, at-int64(c.bytes)); err != nil {
		return c, false, err
	}
	return c, bytes.HasSuffix(appendComment(text, c), line), nil
}

// begin implements destination: what the file says counts for more than the cursor.
func (d *file) begin(head sqlite.Head, c sqlite.Cursor) (sqlite.Cursor, error) {
	f, last, err := d.open(head.LogID, c)
	if err != nil {
		return c, err
	}
	if err := f.Close(); err != nil {
		return c, err
	}
	if last.log == head.LogID && last.cursor.Seq > head.Seq {
		return c, fmt.Errorf("file %q has entries up to seq %d of this log, which ends at %d: was the logbook replaced by an older copy? Make one with `undersheet restore`, or move the file away",
			d.path, last.cursor.Seq, head.Seq)
	}
	if last.log != head.LogID {
		d.logger.Warn("the file was written from another log: it goes on from the cursor in the logbook, so lines may be missing or stand twice",
			"file", d.path, "file_log", last.log, "file_seq", last.cursor.Seq, "log", head.LogID, "cursor", c.Seq)
		return c, nil
	}
	return last.cursor, nil
}

// open opens the file with its torn tail cut off, and returns its last comment. A
// file that is missing or empty is made, with a comment that it begins after c.
func (d *file) open(log string, c sqlite.Cursor) (f *os.File, last comment, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("open file %q: %w", d.path, err)
		}
	}()
	info, err := os.Stat(d.path)
	switch {
	case errors.Is(err, fs.ErrNotExist) || err == nil && info.Mode().IsRegular() && info.Size() == 0:
		if err := d.create(comment{cursor: c, log: log}); err != nil {
			return nil, last, err
		}
	case err != nil:
		return nil, last, err
	case !info.Mode().IsRegular():
		return nil, last, errors.New("it is no regular file")
	}
	if f, err = os.OpenFile(d.path, os.O_RDWR, 0); err != nil {
		return nil, last, err
	}
	if last, err = d.mend(f); err != nil {
		f.Close()
		return nil, last, err
	}
	return f, last, nil
}

// mend cuts the torn tail off f and returns the last comment.
func (d *file) mend(f *os.File) (last comment, err error) {
	info, err := f.Stat()
	if err != nil {
		return last, err
	}
	last, end, err := lastComment(f, info.Size())
	if err != nil {
		return last, err
	}
	if torn := info.Size() - end; torn > 0 {
		d.logger.Warn("the end of the file is no whole batch and is cut off", "file", d.path, "bytes", torn)
		if err := f.Truncate(end); err != nil {
			return last, err
		}
		if err := f.Sync(); err != nil {
			return last, err
		}
	}
	d.size = end
	return last, nil
}

// create makes the file, durably and whole or not at all.
func (d *file) create(c comment) error {
	temp := d.path + ".new"
	f, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return err
	}
	_, err = f.Write(appendComment(nil, c))
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(temp))
	}
	if err := os.Rename(temp, d.path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(d.path))
	if err != nil {
		return err
	}
	defer dir.Close()
	return dir.Sync()
}

// send implements destination.
func (d *file) send(_ context.Context, b *batch) sent {
	f, last, err := d.open(b.log, b.from)
	if err != nil {
		return sent{err: &failure{err: err, slow: errors.Is(err, errForeign)}}
	}
	defer f.Close()
	switch {
	case last.log == b.log && last.cursor == b.upTo: // it is there, but an error kept us from knowing
	case last.log == b.log && last.cursor != b.from:
		return sent{err: &failure{anew: true, err: fmt.Errorf("the file %q was changed by others: it ends at seq %d, not %d", d.path, last.cursor.Seq, b.from.Seq)}}
	default:
		text := appendComment(bytes.Clone(b.text), comment{cursor: b.upTo, log: b.log, lines: len(b.ends), bytes: len(b.text)})
		if _, err := f.WriteAt(text, d.size); err != nil {
			return sent{err: &failure{err: fmt.Errorf("write file: %w", errors.Join(err, f.Truncate(d.size)))}}
		}
	}
	if err := f.Sync(); err != nil {
		return sent{err: &failure{err: fmt.Errorf("write file %q: %w", d.path, err)}}
	}
	return sent{}
}

// end implements destination.
func (d *file) end() {}
