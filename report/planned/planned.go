// Package planned puts a plan on paper: one page that prints on A4, with the plan,
// the checks to sign, a sign for every entrance and an emergency card; and as text.
//
// [Sheet] is what is printed. Every figure stands beside its source. The page says
// what the plan says and what is owed; it never says that a treatment may begin.
package planned

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/chart"
	"undersheet/rules/plan"
)

//go:embed planned.html
var page string

// Sheet is a plan and what goes on paper with it.
type Sheet struct {
	Plan        *plan.Plan
	Site        string
	Zone        *time.Location // nil = UTC
	Lang        string
	Responsible string // person in charge; empty prints a line to fill in
	Phone       string
	Hospital    string
	Poison      string // poison centre
	Entrances   int    // signs to print; 0 = 1
}

// WriteHTML writes one self-contained page.
func (s *Sheet) WriteHTML(w io.Writer) error {
	t, err := template.New("plan").Funcs(template.FuncMap{
		"word": func(code string) string { return words.Plan(s.Lang, code, "", 0) },
		"text": s.text, "say": s.say, "num": s.num, "time": s.time, "unit": s.unit, "source": s.source, "commodity": s.commodity,
		"pct":   func(p float64) string { return words.Chance(s.Lang, p) },
		"or":    func(v, blank string) string { return orBlank(v, blank) },
		"signs": func() []int { return make([]int, max(s.Entrances, 1)) },
		"chart": s.chart, "letter": func(k int) string { return string(rune('A' + k)) },
	}).Parse(page)
	if err != nil {
		return fmt.Errorf("read plan page: %w", err)
	}
	if err := t.Execute(w, s); err != nil {
		return fmt.Errorf("write plan page: %w", err)
	}
	return nil
}

// WriteText writes the plan for a terminal.
func (s *Sheet) WriteText(w io.Writer) error {
	var b strings.Builder
	p := s.Plan
	b.WriteString(s.text("title", "{store}", orBlank(p.Store, s.text("store"))))
	if p.Outdoors {
		b.WriteString(", " + s.text("outdoors"))
	}
	b.WriteString("\n\n" + s.text("protocol", "{protocol}", p.Protocol) + "\n")
	s.figures(&b, p.Figures)
	if t := p.Times; t != nil && t.AirFrom != 0 {
		fmt.Fprintf(&b, "  %s %s\n", s.text("shut", "{shut}", s.time(t.Shut), "{end}", s.time(t.End)),
			s.text("open", "{from}", s.time(t.AirFrom), "{latest}", s.time(t.AirLatest)))
	}
	s.says(&b, p.Says)
	fmt.Fprintf(&b, "  %s\n", s.text("note", "{text}", words.Plan(s.Lang, "law-may-add", "", 0)))
	for i := range p.Stacks {
		s.stack(&b, &p.Stacks[i])
	}
	b.WriteString("\n" + s.text("checks") + "\n")
	for _, c := range p.Checks {
		fmt.Fprintf(&b, "  [ ] %s\n", words.Plan(s.Lang, c, "", 0))
	}
	b.WriteString("\n" + words.Plan(s.Lang, "caution", "", 0) + "\n")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if _, err := io.WriteString(tw, b.String()); err != nil {
		return err
	}
	return tw.Flush()
}

// stack writes what is planned for one stack.
func (s *Sheet) stack(b *strings.Builder, p *plan.StackPlan) {
	fmt.Fprintf(b, "\n%s\n", s.text("stack", "{stack}", orBlank(p.Name, s.text("no-name")), "{commodity}", s.commodity(p.Commodity)))
	s.figures(b, p.Figures)
	for j, l := range p.Lines {
		fmt.Fprintf(b, "  %s\t%s\n", s.text("line", "{number}", strconv.Itoa(j+1)), words.Plan(s.Lang, l, "", 0))
	}
	for _, c := range p.Courses {
		between := s.text("from-to", "{from}", s.num(c.P05), "{to}", s.num(c.P95))
		fmt.Fprintf(b, "  %s\t%s\t%s\n", words.Plan(s.Lang, c.Sheet, "", 0),
			s.text("course", "{p50}", s.num(c.P50), "{range}", between, "{chance}", words.Chance(s.Lang, c.Chance)),
			s.text("course-loss", "{loss}", s.num(c.LossPerDay), "{source}", s.source(plan.SheetSource)))
	}
	s.says(b, p.Says)
}

func (s *Sheet) figures(b *strings.Builder, fs []plan.Figure) {
	for _, f := range fs {
		fmt.Fprintf(b, "  %s\t%s\t(%s)\n", words.Plan(s.Lang, f.Code, "", 0), strings.TrimSpace(s.num(f.Value)+" "+s.unit(f.Unit)), s.source(f.Source))
	}
}

func (s *Sheet) says(b *strings.Builder, says []plan.Say) {
	for _, x := range says {
		mark := "note"
		if x.Stops {
			mark = "STOP"
		}
		fmt.Fprintf(b, "  %s\n", s.text(mark, "{text}", s.say(x)))
	}
}

// say is the sentence of what the plan says, with its source.
func (s *Sheet) say(x plan.Say) string {
	text := words.Plan(s.Lang, x.Code, words.Source(s.Lang, x.About), x.Value)
	if x.Source != "" {
		text += " (" + s.source(x.Source) + ")"
	}
	return text
}

// time writes a moment by the clock of the depot.
func (s *Sheet) time(t logbook.Time) string {
	zone := s.Zone
	if zone == nil {
		zone = time.UTC
	}
	return words.When(s.Lang, t.Std().In(zone), "Mon 2 January 2006 15:04")
}

// chart draws what the gas is expected to do under the three sheets.
func (s *Sheet) chart(i int) (template.HTML, error) {
	sp := &s.Plan.Stacks[i]
	c := chart.Chart{ID: "course-" + strconv.Itoa(i), Lang: s.Lang, Title: s.text("chart"), XLabel: s.text("chart/hours"), YLabel: "ppm", Width: 720, Height: 280,
		Summary: s.text("chart/says"),
		Levels:  []chart.Level{{Name: s.text("chart/level"), Y: s.Plan.EndLevelPPM}}, XMax: s.Plan.Hours}
	for k, course := range sp.Courses {
		var points []chart.Point
		for j, h := range course.Hours {
			points = append(points, chart.Point{X: h, Y: course.PPM[j]})
		}
		c.Series = append(c.Series, chart.Series{Key: string(rune('A' + k)), Points: points, Dash: k})
	}
	var b strings.Builder
	if err := c.WriteSVG(&b); err != nil {
		return "", fmt.Errorf("draw %s: %w", c.Title, err)
	}
	return template.HTML(b.String()), nil
}

// orBlank returns v, or what stands for it where it is empty.
func orBlank(v, blank string) string {
	if v == "" {
		return blank
	}
	return v
}

// num writes a figure of the plan as the language does.
func (s *Sheet) num(v float64) string { return words.Quantity(s.Lang, v) }

// text returns a sentence of the sheet, see [words.Text].
func (s *Sheet) text(key string, pairs ...string) string {
	return words.Text(s.Lang, "planned/"+key, pairs...)
}

// source names where a figure is from: a citation stays as it is.
func (s *Sheet) source(from string) string { return words.Source(s.Lang, from) }

func (s *Sheet) commodity(name string) string { return words.Word(s.Lang, "commodity", name) }

// unit writes a unit for people.
func (s *Sheet) unit(u string) string {
	return strings.NewReplacer("m2", "m²", "m3", "m³").Replace(words.Word(s.Lang, "product", u))
}
