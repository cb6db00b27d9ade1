package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"undersheet/peer"

	browsing "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// browserTest is a person at a browser, with mouse and keys.
type browserTest struct {
	t    *testing.T
	ctx  context.Context
	base string

	mu   sync.Mutex
	said []string // what the browser complained of
}

// newBrowserTest starts a real Chromium on the pages at base.
func newBrowserTest(t *testing.T, base string) *browserTest {
	bin := peer.Need(t, "chromium", "chromium")
	alloc, end := chromedp.NewExecAllocator(context.Background(), // which outlives the test: what is shown at its end is logged
		append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.ExecPath(bin))...)
	t.Cleanup(end)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	b := &browserTest{t: t, ctx: ctx, base: base}
	complaints := chromedp.Console(ctx)
	b.do(chromedp.EmulateViewport(390, 844)) // a phone's
	go func() {
		for m, err := range complaints { // ends with the browser
			if err == nil && (m.IsException() || strings.Contains(m.Text, "Security Policy")) {
				b.mu.Lock()
				b.said = append(b.said, m.String())
				b.mu.Unlock()
			}
		}
	}()
	t.Cleanup(func() {
		if t.Failed() {
			shown, err := chromedp.Run(ctx, chromedp.Evaluate[string]("location.href + '\\n' + document.body.innerText"))
			t.Logf("the browser shows (%v):\n%s", err, shown)
		}
	})
	return b
}

// within bounds what a browser is asked for.
func (b *browserTest) within() (context.Context, context.CancelFunc) {
	return context.WithTimeout(b.ctx, patience)
}

func (b *browserTest) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, actions...)) // the first one starts the browser, which lives as long as its context
}

func (b *browserTest) open(path string) {
	b.t.Helper()
	ctx, cancel := b.within()
	defer cancel()
	require.NoError(b.t, chromedp.Do(ctx, chromedp.Navigate(b.base+path)))
}

// ask evaluates an expression in the page.
func ask[T any](b *browserTest, script string, args ...any) T {
	b.t.Helper()
	for i, a := range args {
		text, err := json.Marshal(a)
		require.NoError(b.t, err)
		args[i] = string(text)
	}
	ctx, cancel := b.within()
	defer cancel()
	var v T
	var err error
	for range 5 { // a page that is just being left ends the first tries
		if v, err = chromedp.Run(ctx, chromedp.Evaluate[T](fmt.Sprintf(script, args...))); err == nil {
			break
		}
	}
	require.NoError(b.t, err, script)
	return v
}

// sees waits until the page shows a text.
func (b *browserTest) sees(want string) {
	b.t.Helper()
	require.Eventually(b.t, func() bool { return b.shows(want) }, patience, 5*tick, "the page does not show %q", want)
}

func (b *browserTest) shows(want string) bool {
	return ask[bool](b, "document.body.innerText.replace(/\\s+/g,' ').includes(%s)", want)
}

// press clicks what can be pressed and has this text, where a finger would.
func (b *browserTest) press(text string) {
	b.t.Helper()
	var at []float64
	require.Eventually(b.t, func() bool {
		at = ask[[]float64](b, `(() => { if (document.readyState === "complete") for (const e of document.querySelectorAll("a, button")) if (e.innerText.trim() === %s) {
			e.scrollIntoView({ block: "center" }); const r = e.getClientRects()[0], x = r.left + r.width / 2, y = r.top + r.height / 2;
			return e.contains(document.elementFromPoint(x, y)) ? [x, y] : []; } return []; })()`, text)
		return len(at) == 2
	}, patience, 5*tick, "nothing to press is called %q", text)
	ctx, cancel := b.within()
	defer cancel()
	require.NoError(b.t, chromedp.Do(ctx, chromedp.MouseClickXY(at[0], at[1])))
}

// fill writes into the field with this label; of a choice it takes the one whose
// text begins so, and a box it ticks.
func (b *browserTest) fill(label, value string) {
	b.t.Helper()
	kind := ""
	require.Eventually(b.t, func() bool {
		kind = ask[string](b, `(() => { if (document.readyState !== "complete") return ""; const l = [...document.querySelectorAll("label")].find((l) => l.innerText.trim().startsWith(%s)); if (!l) return "";
		const e = document.getElementById(l.htmlFor); e.scrollIntoView({ block: "center" }); e.focus();
		if (e.tagName === "SELECT") { const o = [...e.options].find((o) => o.text.startsWith(%s)); if (!o) return ""; e.value = o.value; return "chosen"; }
		if (e.type === "checkbox") { e.click(); return "chosen"; }
		e.select(); return "write"; })()`, label, value)
		return kind != ""
	}, patience, 5*tick, "no field %q, or no choice %q", label, value)
	if kind == "write" {
		ctx, cancel := b.within()
		defer cancel()
		require.NoError(b.t, chromedp.Do(ctx, chromedp.KeyEvent(value)))
	}
}

// fits: nothing stands beyond a phone's screen.
func (b *browserTest) fits(path string) {
	b.t.Helper()
	b.open(path)
	require.LessOrEqual(b.t, ask[int](b, "document.documentElement.scrollWidth"), 390, path)
}

// photographs: a telephone's picture is larger than the logbook takes; the page makes it small
// enough.
func (b *browserTest) photographs() {
	b.t.Helper()
	b.open("/stack/A/photo")
	b.fill("Your name", "Ana Brook")
	ask[bool](b, `(() => { const c = document.createElement("canvas"); c.width = c.height = 1500; const x = c.getContext("2d");
		const noise = x.createImageData(1500, 1500); for (let i = 0; i < noise.data.length; i++) noise.data[i] = i %% 4 === 3 ? 255 : 256 * Math.random(); x.putImageData(noise, 0, 0);
		c.toBlob((blob) => { const files = new DataTransfer(); files.items.add(new File([blob], "hole.png", { type: "image/png" }));
			const e = document.getElementById("f-photo"); e.files = files.files; window.large = e.files[0].size; e.dispatchEvent(new Event("change")); }); return true; })()`)
	const small = `(() => { const e = document.getElementById("f-photo"); return (window.large || 0) > (1 << 20) && e.files.length === 1 && e.files[0].size <= (1 << 20); })()`
	require.Eventually(b.t, func() bool { return ask[bool](b, small) }, patience, 5*tick, "the photo stays large")
	b.press("Keep the photo")
	b.sees("ACCEPTED")
}

// narrow: on the smallest telephone, and in the longer words of French, nothing stands beyond
// the screen either.
func (b *browserTest) narrow(d *depotTest) {
	b.t.Helper()
	status, _, errs := tried(b.t, "", "act", "-l", d.book, "--at", d.at.Format(time.RFC3339), "masked-exit", "store=Store 1", "by=Ana Brook") // its name is the longest
	require.Zero(b.t, status, errs)
	b.do(chromedp.EmulateViewport(320, 568))
	for _, path := range []string{"/?lang=fr", "/store/Store%201", "/stack/A", "/alarms", "/follow-ups", "/instruments", "/logbook", "/act", "/act/line-proved?stack=A&line=top"} {
		b.open(path)
		require.LessOrEqual(b.t, ask[int](b, "document.documentElement.scrollWidth"), 320, path)
	}
	b.open("/?lang=en")
	b.open(planOfOwnDose)
	require.LessOrEqual(b.t, ask[int](b, "document.documentElement.scrollWidth"), 320, "the lines to sign on")
	require.LessOrEqual(b.t, ask[int](b, "Math.max(...[...document.querySelectorAll('.scroll')].map((e) => e.scrollWidth - e.clientWidth))"), 0, "no table of the plan scrolls")
	b.do(chromedp.EmulateViewport(390, 844))
	b.open(planOfOwnDose)
}

// planOfOwnDose is a plan whose dose comes from a label with a long address.
const planOfOwnDose = "/plan/Store%201/sheet?commodity-0=maize&tonnes-0=180&length-0=9&width-0=6&height-0=5&temp-0=27&per_tonne=2&dose_source=" +
	"the+label:+https://authority.example/labels/registered/phosphine/2026/01/31/leaflet-of-the-product.pdf"

// A treatment by forms alone, in a real Chromium on a phone's screen, against the
// daemon in a process of its own: declared, dosed, watched; the leak comes into the
// open page by itself and is acknowledged; the confirmation is not offered before
// its time; aired, read by hand, confirmed; the report that is downloaded is the one
// that the command writes.
func TestTreatmentInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole treatment: run without -short")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	listen := l.Addr().String()
	require.NoError(t, l.Close())
	t.Setenv(childListen, listen)
	b := newBrowserTest(t, "http://"+listen)
	d := newDepotTest(t)
	d.start()
	b.open("/logbook?kind=instrument-state")
	b.sees("gateway answers") // what is published before the daemon has subscribed is lost
	d.until(e2eStart.Add(e2eStep))
	b.dosed(d)
	b.leaks(d)
	b.aired(d)
	b.reported(d)
	b.speaksFrench()
	for _, path := range []string{"/", "/store/Store%201", "/stack/A", "/stack/A?axis=log", "/alarms", "/instruments", "/logbook", "/logbook/1", "/act", "/act/line-proved?stack=A&line=top", "/act/treatment-started?stack=A", "/plan/Store%201", planOfOwnDose} {
		b.fits(path)
	}
	b.sees("leaflet-of-the-product.pdf")
	b.narrow(d)
	require.Zero(t, ask[int](b, "[...document.querySelectorAll('.scroll')].filter(x => x.scrollWidth > x.clientWidth).length"), "a source in one long word is not cut off in the plan")
	b.photographs()
	b.loses(d)
	b.mu.Lock()
	defer b.mu.Unlock()
	require.Empty(t, b.said, "no script broke, and nothing was asked for that the content security policy forbids")
}

// dosed takes a stack from the declaration to t = 0.
func (b *browserTest) dosed(d *depotTest) {
	b.open("/store/Store%201")
	b.sees("SHUT")
	b.press("No gas declared")
	b.fill("Your name", "Ana Brook")
	b.press("Sign the declaration")
	b.sees("ACCEPTED")
	b.sees("Ana Brook (not verified)")
	b.open("/stack/A")
	b.press("Dosing started")
	b.fill("The store is empty", "")
	b.press("Record that dosing started")
	b.sees("ACCEPTED")
	b.sees("Often next")
	b.press("Treatment started")
	b.press("Record t = 0")
	require.True(b.t, b.shows("Record t = 0"), "the browser itself asks for what is needed")
	for label, value := range map[string]string{"Name of the treatment": "A-1", "Protocol": "five-day", "Commodity": "milled rice", "Weight": "180", "Volume": "260", "Phosphine that": "1,285", "Temperature": "27,5"} {
		b.fill(label, value)
	}
	b.press("Record t = 0")
	b.sees("Nothing was recorded yet")
	b.sees("write 1285 or 1.285")
	b.fill("Phosphine that", "285")
	b.press("Record t = 0")
	b.sees("ACCEPTED")
	d.depot.Dose("A")
}

// leaks: the sheet tears while somebody has the page of the stack open.
func (b *browserTest) leaks(d *depotTest) {
	d.until(e2eStart.Add(49 * time.Hour))
	b.open("/stack/A")
	b.sees("the lowest line is expected at")
	b.sees("Statistic")
	const drawn = `[...document.querySelectorAll("#curves .uplot canvas")].map((c) => new Uint32Array(c.getContext("2d").getImageData(0, 0, c.width, c.height).data.buffer).filter((p) => p).length)`
	require.Eventually(b.t, func() bool {
		inked := ask[[]int](b, drawn)
		for _, n := range inked {
			if n < 1000 {
				return false
			}
		}
		return len(inked) == 4
	}, patience, 5*tick, "all lines and each of the three are drawn")
	ask[bool](b, "window.stayed = true")
	d.depot.Tear("A", "low", 0.9)
	d.until(d.at.Add(8 * time.Hour))
	b.sees("Leak: stack A")
	b.sees("Do not enter alone: two trained people")
	require.True(b.t, ask[bool](b, "window.stayed === true"), "it came into the open page")
	require.Len(b.t, ask[[]int](b, drawn), 4, "and the curves stayed")
	b.press("Acknowledge")
	b.sees("To acknowledge is to take charge")
	require.Equal(b.t, "Ana Brook", ask[string](b, `document.getElementById("f-by").value`), "the name is remembered")
	b.press("Acknowledge")
	b.sees("ACCEPTED")
	b.open("/alarms")
	b.sees("acknowledged by Ana Brook")
	d.depot.Mend("A")
	b.open("/act/masked-entry?store=Store%201")
	b.sees("The air at")
	b.sees("Two trained people, breathing protection that the air allows, daylight; else wait.")
	require.False(b.t, b.shows("It is night"))
	b.fill("Who goes in", "Ben Ash")
	d.until(time.Date(2026, 5, 6, 20, 20, 0, 0, time.UTC)) // 21:20 in Lisbon
	b.open("/act/masked-entry?store=Store%201")
	b.sees("It is night, 20:00 to 06:00 at this depot: nobody goes in.")
}

// aired takes the stack from the end of its exposure to the clearance.
func (b *browserTest) aired(d *depotTest) {
	d.until(e2eStart.Add(122 * time.Hour))
	b.open("/act/entry-confirmed?store=Store%201")
	b.sees("not ready for a confirmation")
	require.False(b.t, b.shows("Confirm with my name"))
	b.open("/stack/A")
	d.depot.Lift("A")
	d.depot.OpenDoors("Store 1", true)
	b.press("Airing started")
	b.press("Record that airing started")
	b.sees("ACCEPTED")
	b.open("/store/Store%201")
	b.sees("AIRING")
	b.sees("aired for 0 of 120 minutes")
	d.until(d.at.Add(4 * time.Hour))
	b.sees("CHECK OWED")
	b.press("Entry confirmed")
	b.sees("Hand readings are owed first")
	require.False(b.t, b.shows("Confirm with my name"))
	b.press("Hand reading")
	b.fill("Reading", "0,02")
	b.fill("Method", "hand meter")
	b.fill("The method finds nothing below", "0.02")
	b.press("Record the reading")
	b.sees("ACCEPTED")
	b.sees("Store 1, beside A")
	b.press("Entry confirmed")
	b.press("Confirm with my name")
	b.sees("ACCEPTED")
	b.open("/store/Store%201")
	b.sees("CLEARED")
	b.sees("Entry confirmed")
}

// brokenWords lists the words of gates that stand on more than one line of the page.
const brokenWords = `(() => { const broken = []; for (const e of document.querySelectorAll(".gate .state")) for (const n of e.childNodes) if (n.nodeType === 3)
	for (const m of n.data.matchAll(/\S+/g)) { const r = document.createRange(); r.setStart(n, m.index); r.setEnd(n, m.index + m[0].length); if (r.getClientRects().length > 1) broken.push(m[0]); } return broken; })()`

// speaksFrench: whoever asks for French reads by hand, and is answered, in French.
func (b *browserTest) speaksFrench() {
	b.open("/store/Store%201")
	b.press("Français")
	b.sees("INTERDICTION LEVÉE")
	b.do(chromedp.EmulateViewport(320, 568))
	require.Empty(b.t, ask[[]string](b, brokenWords), "no word of a gate is broken in two")
	b.do(chromedp.EmulateViewport(390, 844))
	require.Empty(b.t, ask[[]string](b, brokenWords))
	b.press("Mesure manuelle")
	b.fill("Où", "à côté de la pile A")
	b.fill("Valeur lue", "0,02")
	b.fill("Méthode", "tube réactif")
	b.fill("La méthode ne trouve rien", "0,02")
	b.press("Consigner la mesure")
	b.sees("ACCEPTÉ")
	b.sees("Ana Brook (non vérifié)")
	b.press("English")
	b.sees("ACCEPTED")
}

// reported downloads the report, and holds it against the one of the command.
func (b *browserTest) reported(d *depotTest) {
	dir, own := b.t.TempDir(), b.t.TempDir()
	_, err := chromedp.CallBrowser(b.ctx, browsing.SetDownloadBehavior, browsing.SetDownloadBehaviorParams{Behavior: browsing.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
	require.NoError(b.t, err)
	b.open("/stack/A")
	status, _, errs := tried(b.t, "", "report", "-l", d.book, "--out", own, "A-1")
	require.Zero(b.t, status, errs)
	for label, name := range map[string]string{"page as a file": "report-A-1.html", "table": "report-A-1.csv"} {
		b.press(label)
		want, err := os.ReadFile(filepath.Join(own, name))
		require.NoError(b.t, err)
		require.Eventually(b.t, func() bool {
			got, err := os.ReadFile(filepath.Join(dir, name))
			return err == nil && len(got) == len(want) && string(got) == string(want)
		}, patience, 5*tick, "%s is the report of the command", name)
	}
	b.open("/logbook")
	b.press("Check the chain")
	b.sees("WHOLE")
	b.sees("follow from one another")
}

// loses: when the daemon is gone, no open page tells of a gate any more.
func (b *browserTest) loses(d *depotTest) {
	b.open("/store/Store%201")
	b.sees("CLEARED")
	d.kill()
	ask[bool](b, "(() => { const now = Date.now; Date.now = () => now() + 60000; return true; })()") // a minute without a word
	b.sees("This page has lost touch")
	b.sees("Gate: NOT KNOWN. Keep out.")
	require.False(b.t, b.shows("CLEARED"))
}
