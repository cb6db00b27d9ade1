package forward

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook/sqlite"
)

// TestSettling: only what a server has had for a while is counted on, a lost
// connection asks for the rest again, and one that breaks all the time does not
// stop the copy.
func TestSettling(t *testing.T) {
	at := func(seq uint64) sqlite.Cursor { return sqlite.Cursor{Seq: seq, Site: 1} }
	after := func(s int) time.Time { return noon.Add(time.Duration(s) * time.Second) }
	s := settling{within: 10 * time.Second}
	s.begin(at(5))
	s.took(at(10), after(0))
	s.took(at(20), after(4))
	require.Equal(t, at(5), s.settled(after(9)))
	require.Equal(t, at(10), s.settled(after(10)))
	require.Equal(t, at(10), s.settled(after(13)))

	_, asked := s.again(after(13))
	require.False(t, asked, "nothing broke")
	for range mostTries {
		s.broken = true
		c, asked := s.again(after(13))
		require.True(t, asked)
		require.Equal(t, at(10), c)
		_, asked = s.again(after(13))
		require.False(t, asked, "once for each break")
		s.took(at(20), after(13))
	}
	s.broken = true
	c, asked := s.again(after(13))
	require.False(t, asked, "it goes on all the same")
	require.Equal(t, at(20), c)

	s.took(at(30), after(20))
	s.broken = true
	c, asked = s.again(after(21))
	require.True(t, asked)
	require.Equal(t, at(20), c)
	s.took(at(30), after(22))
	require.Equal(t, at(30), s.settled(after(32)))
	s.broken = true
	_, asked = s.again(after(33))
	require.False(t, asked, "all has settled")
	s.took(at(40), after(34))
	_, asked = s.again(after(34))
	require.False(t, asked, "and that break is forgotten")
}

// TestSettlingOfFiles: what a file has is settled at once.
func TestSettlingOfFiles(t *testing.T) {
	var s settling
	s.took(sqlite.Cursor{Seq: 3}, noon)
	require.Equal(t, sqlite.Cursor{Seq: 3}, s.settled(noon))
}
