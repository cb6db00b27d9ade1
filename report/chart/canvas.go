package chart

// Canvas is what a chart is drawn on, in user units from its upper left corner, y
// downwards. Coordinates are finite. What is drawn later covers what was drawn before.
type Canvas interface {
	// Line draws a straight line.
	Line(x1, y1, x2, y2 float64, p Pen)
	// Rect fills a rectangle, then draws its edge.
	Rect(x, y, w, h float64, f Fill, p Pen)
	// Path joins the points of each run by straight lines. With a fill it closes and
	// fills each run.
	Path(runs [][]Point, f Fill, p Pen)
	// Text writes words on a base line at y.
	Text(x, y float64, words string, t Type)
}

// Pen draws lines; without ink it draws none. Colours are written "#rrggbb".
type Pen struct {
	Ink   string
	Width float64   // 0 = 1
	Dash  []float64 // lengths of strokes and gaps in turn; empty = solid
	Round bool      // corners of a path are round
	Dots  bool      // each point of a path is a round dot as wide as the pen; no lines
}

// Fill covers a surface; without ink it leaves it as it is.
type Fill struct {
	Ink     string
	Opacity float64 // 0 = 1, opaque
}

// Type is how words are written.
type Type struct {
	Anchor Anchor
	Ink    string  // "" = the usual ink
	Size   float64 // 0 = the usual size
	Bold   bool
	Halo   bool // on a white rim, which keeps letters that stand on lines readable
}

// Anchor is the part of the words that lies at their x.
type Anchor string

// The anchors.
const (
	Start  Anchor = "start"
	Middle Anchor = "middle"
	End    Anchor = "end"
)

// What every canvas keeps to.
const (
	Ink       = "#111111" // usual ink: dark on white for sunlight and for a laser printer
	TextSize  = 15.0      // usual size of words
	HaloWidth = 4.0       // of the pen that draws the white rim of letters
)

// Draw draws the chart on a canvas as large as [Chart.Size] says.
func (c *Chart) Draw(on Canvas) {
	d := newDrawing(c)
	d.on = on
	d.all()
}

// Size returns the width and the height of the chart in user units.
func (c *Chart) Size() (w, h float64) {
	if c.Width <= 0 || c.Height <= 0 {
		return 480, 320
	}
	return c.Width, c.Height
}
