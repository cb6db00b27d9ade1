package plan

import (
	"math"
	"strings"
)

// BulkDensity is the mass of a commodity per volume of heap, t/m³.
type BulkDensity struct {
	Commodity string
	TM3       float64
	Source    string
}

// extension is the sheet that most densities are from: 124 m³ hold 93 t of wheat
// or 76.88 t of barley by it.
const extension = "extension sheet Storage Capacity, table 2"

// bulk densities; the first whose name is a word of the commodity's is taken.
var bulk = []BulkDensity{
	{"wheat", 0.75, extension}, {"barley", 0.62, extension}, {"oat", 0.50, extension}, {"rye", 0.71, extension}, {"triticale", 0.69, extension},
	{"chickpea", 0.60, extension}, {"pea", 0.75, extension}, {"faba bean", 0.75, extension}, {"lupin", 0.75, extension},
	{"linseed", 0.73, extension}, {"rapeseed", 0.67, extension}, {"canola", 0.67, extension}, {"safflower", 0.53, extension},
	{"maize", 0.72, "from memory"}, {"sorghum", 0.72, "from memory"}, {"paddy", 0.58, "from memory"}, {"rice", 0.78, "from memory"}, {"groundnut", 0.28, "from memory (in shell)"},
}

// bagged is the weight of a stack of bags over that of a heap of the same volume: it holds
// 5–15 % less, from memory.
const bagged = 0.90

// DensityOf returns the bulk density of a commodity; false where none is known.
func DensityOf(commodity string) (BulkDensity, bool) {
	c := strings.NewReplacer("rough rice", "paddy", "peanut", "groundnut").Replace(strings.ToLower(commodity))
	words := " " + strings.Join(strings.FieldsFunc(c, func(r rune) bool { return r < 'a' || r > 'z' && r < 128 }), " ") + " "
	for _, b := range bulk {
		if strings.Contains(words, " "+b.Commodity+" ") || strings.Contains(words, " "+b.Commodity+"s ") {
			return b, true
		}
	}
	return BulkDensity{}, false
}

// Sizes of sheeting by common practice, m.
const (
	skirtM        = 1.0  // of the sheet on the floor all round, for the sand-snakes to lie on
	joinM         = 1.0  // overlap of two sheets, rolled together and clamped
	snakeM        = 1.0  // length of a sand-snake
	snakeOverlapM = 0.2  // of one snake over the next
	snakeRows     = 2    // rows of them
	cornerM       = 0.15 // more on the floor at each folded corner
)

// Sheet is what covers a stack.
type Sheet struct {
	LengthM, WidthM float64 // of the whole cover, joins not counted
	AreaM2          float64 // of the cover, joins counted where the sheets are known
	Sheets          int     // of the site's size; 0 = size not said
	FloorM          float64 // length of the edge on the floor
	Snakes          int
	SnakeM          float64 // all of them laid in line
}

// sheet returns the cover of a stack with known sides for sheets of a size (0 =
// not said).
func (s *Stack) sheet(size [2]float64) Sheet {
	c := Sheet{LengthM: s.LengthM + 2*s.HeightM + 2*skirtM, WidthM: s.WidthM + 2*s.HeightM + 2*skirtM}
	c.AreaM2 = c.LengthM * c.WidthM
	if size[0] > joinM && size[1] > joinM {
		a, b := pieces(c.LengthM, size[0])*pieces(c.WidthM, size[1]), pieces(c.LengthM, size[1])*pieces(c.WidthM, size[0])
		c.Sheets = min(a, b)
		c.AreaM2 = float64(c.Sheets) * size[0] * size[1]
	}
	c.FloorM = 2*(s.LengthM+s.WidthM) + 4*2*cornerM
	perRow := int(math.Ceil(c.FloorM/(snakeM-snakeOverlapM) - 1e-9))
	c.Snakes = snakeRows * perRow
	c.SnakeM = float64(c.Snakes) * snakeM
	return c
}

// pieces is how many sheets of a length cover a length with joins.
func pieces(length, sheet float64) int {
	if sheet >= length {
		return 1
	}
	return int(math.Ceil((length-joinM)/(sheet-joinM) - 1e-9))
}
