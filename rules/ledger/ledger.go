// Package ledger keeps count of product: what a depot has in stock, and what of it
// went under a sheet, came out again and was disposed of.
//
// A [Stock] is one form of product in the store of chemicals: received, used, left;
// the columns of a stock register. An [Account] is one form under one sheet: placed,
// taken out, disposed of. [Stocks] and [Product] hold them by form. None refuses an
// entry: what was done was done. They say what does not add up, so that it is never
// unseen.
package ledger

// Stock is one form in the store of chemicals, in pieces.
type Stock struct {
	Received int // all that came in
	Used     int // all that was placed
	Left     int // what must be there: may be negative, which is a finding
	Counted  int // times that somebody counted
}

// Receive adds pieces that came in.
func (s *Stock) Receive(count int) {
	s.Received += count
	s.Left += count
}

// Use takes pieces that were placed, and reports whether more were used than the
// ledger had.
func (s *Stock) Use(count int) (short bool) {
	s.Used += count
	s.Left -= count
	return s.Left < 0
}

// Count sets the ledger to what somebody counted, and returns by how many pieces
// that is off: negative where pieces are missing.
func (s *Stock) Count(count int) (off int) {
	off = count - s.Left
	s.Left = count
	s.Counted++
	return off
}

// Account is one form under one sheet, in pieces.
type Account struct {
	Placed   int
	Taken    int // out from under the sheet
	Live     int // of them not spent, or not known to be
	Disposed int
}

// Inside is what is still under the sheet, or is not accounted for.
func (a *Account) Inside() int { return a.Placed - a.Taken }

// Waiting is what was taken out and not disposed of.
func (a *Account) Waiting() int { return a.Taken - a.Disposed }
