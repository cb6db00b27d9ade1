package ledger_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"undersheet/rules/ledger"
)

// A stock register by hand: 500 pieces in, 600 laid, 4 found on the shelf.
func TestStock(t *testing.T) {
	var s ledger.Stocks
	s.Of("Tablet").Receive(500)
	assert.False(t, s.Of(" tablets").Use(500))
	assert.True(t, s.Of("tablets").Use(100), "more was used than came in")
	assert.Equal(t, 104, s.Of("tablets").Count(4))
	s.Of("Own make")
	assert.Equal(t, []ledger.FormStock{{Form: "own make"}, {Form: "tablets", Stock: ledger.Stock{Received: 500, Used: 600, Left: 4, Counted: 1}}}, s.List())
}

// A 3 g tablet gives 1 g of phosphine, a 34 g sachet 11 g: table of formulations, as in
// package plan.
func TestProduct(t *testing.T) {
	var p ledger.Product
	left := func() [3]bool { known, inside, remaining := p.Left(); return [3]bool{known, inside, remaining} }
	assert.False(t, p.AllTaken(), "nothing was laid")
	assert.Equal(t, [3]bool{}, left())
	p.Of("Tablet").Placed, p.Of("sachets").Placed = 60, 2
	grams, known := p.Grams()
	assert.Equal(t, [2]any{82.0, true}, [2]any{grams, known})
	assert.Equal(t, [3]bool{true, true, true}, left())
	p.Of("tablets").Taken, p.Of("sachets").Taken = 60, 1
	assert.Equal(t, []bool{false, true}, []bool{p.AllTaken(), p.Phosphide()})
	p.Of("sachets").Taken = 2
	assert.Equal(t, []bool{true, false}, []bool{p.AllTaken(), p.Phosphide()})
	assert.Equal(t, [3]bool{true, false, true}, left(), "it lies somewhere")
	p.Of("tablets").Disposed, p.Of("sachets").Disposed = 60, 2
	assert.Equal(t, [3]bool{true, false, false}, left())
	p.Of("own make").Placed = 1
	_, known = p.Grams()
	assert.False(t, known)
	assert.Len(t, p.List(), 3)
}

// Gas that was let in from a cylinder leaves nothing under the sheet that releases more.
func TestGasIsNoPhosphide(t *testing.T) {
	p := ledger.Product{}
	p.Of("gas").Placed = 1
	assert.False(t, p.Phosphide())
}
