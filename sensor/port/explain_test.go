package port

import (
	"errors"
	"io/fs"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestExplain(t *testing.T) {
	for _, c := range []struct {
		cause error
		is    error
		says  string
	}{
		{syscall.ENOENT, fs.ErrNotExist, `open serial port "/dev/x": no such file or directory; check the plug`},
		{syscall.ENXIO, syscall.ENXIO, "check the plug"},
		{syscall.EACCES, fs.ErrPermission, "permission denied; add the user to group dialout"},
		{syscall.EPERM, fs.ErrPermission, "dialout"},
		{syscall.EBUSY, ErrBusy, "device busy; another program uses it (fuser -v /dev/x)"},
		{syscall.EWOULDBLOCK, ErrBusy, "another program"},
		{syscall.EMFILE, syscall.EMFILE, "too many open files"},
		{errors.New("odd"), nil, `open serial port "/dev/x": odd`},
	} {
		err := explain("/dev/x", c.cause)
		require.ErrorContains(t, err, c.says)
		if c.is != nil {
			require.ErrorIs(t, err, c.is)
		}
	}
}
