// Package browser looks at pages as people do, in a real browser, for tests: it follows
// links by their words, types into fields by their labels, and asks axe-core what a page
// is hard to use for. Without chromium, or npm for axe-core, a test says so and skips;
// TELLTALE_CI=1 makes that a failure.
package browser

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"telltale/testdata/quick"
)

// Tab is a tab of a browser, as wide as a screen. What goes wrong in it ends the test.
type Tab struct {
	t   testing.TB
	ctx context.Context
	// Width is how wide the screen is, in CSS pixels.
	Width int
	// Presses counts the links, buttons and boxes that were pressed.
	Presses int

	seen seen
}

// without skips the test; in CI it fails.
func without(t testing.TB, what string) {
	t.Helper()
	if quick.CI() {
		t.Fatal(what + " is missing, and TELLTALE_CI asks for all tests")
	}
	t.Skip(what + " is missing; TELLTALE_CI=1 makes this a failure")
}

var (
	starting sync.Once
	shared   context.Context
)

// Close ends the browser; a package's TestMain calls it after its tests.
func Close() {
	if shared != nil {
		_ = chromedp.Cancel(shared) // the tests are over
	}
}

// Open opens a tab of that width, which knows nothing of others, as if a device of its own.
// All tests of a process share one browser.
func Open(t testing.TB, width int) *Tab {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		without(t, "chromium")
	}
	starting.Do(func() {
		options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath("chromium"), chromedp.NoSandbox)
		alloc, _ := chromedp.NewExecAllocator(context.Background(), options...)
		shared, _ = chromedp.NewContext(alloc)
		if err := chromedp.Do(shared); err != nil {
			t.Fatal(err)
		}
	})
	ctx, cancel := chromedp.NewContext(shared, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	ctx, stop := context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(stop)
	b := &Tab{t: t, ctx: ctx}
	b.Resize(width)
	b.watch()
	return b
}

// must ends the test where something did not work.
func (b *Tab) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

// Resize makes the screen as wide as that.
func (b *Tab) Resize(width int) {
	b.t.Helper()
	b.Width = width
	b.must(chromedp.Do(b.ctx, chromedp.EmulateViewport(int64(width), 800)))
}

// Dark has the system ask for dark pages, or for light ones.
func (b *Tab) Dark(dark bool) {
	b.t.Helper()
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	b.must(err)
}

// NoScript has pages run no script from now on, or run them again.
func (b *Tab) NoScript(off bool) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: off})
	b.must(err)
}

// Go opens an address and gives its status.
func (b *Tab) Go(url string) (status int) {
	b.t.Helper()
	r, err := chromedp.RunResponse(b.ctx, chromedp.Navigate(url))
	if err != nil {
		b.t.Fatalf("%s: %v", url, err)
	}
	return int(r.Status)
}

// eval asks the page in the tester's own world, where a script works though the page's do
// not.
func eval[T any](b *Tab, script string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		b.t.Fatalf("%s: %v", script, err)
	}
	return v
}

// Wide is how wide the page is; on a screen that holds it, as wide as that.
func (b *Tab) Wide() int { return eval[int](b, "document.documentElement.scrollWidth") }

// Title is the page's title.
func (b *Tab) Title() string { return eval[string](b, "document.title") }

// Path is where the tab is, without the host.
func (b *Tab) Path() string { return eval[string](b, "location.pathname + location.search") }

// Text is what stands on the page between its first row and its foot.
func (b *Tab) Text() string {
	return eval[string](b, "(document.querySelector('main')?.innerText ?? '')")
}

// Has reports whether the text stands on the page; ends the test where it does not.
func (b *Tab) Has(texts ...string) {
	b.t.Helper()
	all := b.Text()
	for _, text := range texts {
		if !strings.Contains(strings.Join(strings.Fields(all), " "), text) {
			b.t.Fatalf("%s lacks %q:\n%s", b.Path(), text, all)
		}
	}
}

// found is a script that finds the n-th thing of a page by its words, in the smallest part
// of it that says something else as well.
const found = `(() => {
	const words = %s, n = %d, near = %s;
	const said = (e) => (e.getAttribute('aria-label') || e.innerText || e.value || '').replace(/\s+/g, ' ').trim();
	const part = (e) => { for (; e && e.tagName !== 'BODY'; e = e.parentElement) if (said(e).includes(near)) return e; };
	let all = [...document.querySelectorAll('a, button, summary, label, input[aria-label], select[aria-label]')];
	if (near) {
		const least = all.filter((e) => said(e).includes(words)).map(part).filter((p) => p).sort((a, b) => said(a).length - said(b).length)[0];
		all = least ? all.filter((e) => least.contains(e)) : [];
	}
	const is = all.filter((e) => said(e) === words), has = all.filter((e) => said(e).includes(words));
	const e = (is.length > n ? is : has)[n];
	if (!e) return {Is: ''};
	document.querySelectorAll('[data-found]').forEach((o) => o.removeAttribute('data-found'));
	const it = e.tagName === 'LABEL' ? (e.control || e) : e;
	it.setAttribute('data-found', 'yes');
	it.scrollIntoView({block: 'center', behavior: 'instant'});
	const r = it.getClientRects()[0], x = r ? r.x + r.width / 2 : 0, y = r ? r.y + r.height / 2 : 0;
	const top = document.elementFromPoint(x, y);
	return {Is: it.tagName + ' ' + (it.type || '') + ' ' + (it.href || ''), X: x, Y: y, Seen: !!top && (it.contains(top) || top.contains(it))};
})()`

// thing is what was found: what it is, and where its middle lies.
type thing struct {
	Is   string
	X, Y float64
	Seen bool // nothing lies over it
}

// find marks the n-th link, button or field of those words, and says what it is.
func (b *Tab) find(words string, n int, near string) thing {
	b.t.Helper()
	quoted, err := json.Marshal(words)
	b.must(err)
	beside, err := json.Marshal(near)
	b.must(err)
	it := eval[thing](b, fmt.Sprintf(found, quoted, n, beside))
	if it.Is == "" {
		b.t.Fatalf("%s has nothing that says %q beside %q:\n%s", b.Path(), words, near, b.Text())
	}
	return it
}

// Press presses the first link or button of those words, and waits for the page that
// follows.
func (b *Tab) Press(words string) { b.t.Helper(); b.press(words, 0, "") }

// PressNth presses the n-th, from 0.
func (b *Tab) PressNth(words string, n int) { b.t.Helper(); b.press(words, n, "") }

// PressOf presses the one that stands with those other words, as in a row of a list.
func (b *Tab) PressOf(near, words string) { b.t.Helper(); b.press(words, 0, near) }

func (b *Tab) press(words string, n int, near string) {
	b.t.Helper()
	it := b.find(words, n, near)
	if strings.HasPrefix(it.Is, "A ") || strings.HasPrefix(it.Is, "BUTTON submit") {
		ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
		defer cancel()
		if _, err := chromedp.RunResponse(ctx, b.click(it, words)); err != nil {
			b.t.Fatalf("pressing %q on %s: %v", words, b.Path(), err)
		}
		return
	}
	b.must(chromedp.Do(b.ctx, b.click(it, words)))
}

// click presses what was found where it lies, as a finger does: a page that was fetched
// again meanwhile has it in the same place.
func (b *Tab) click(it thing, words string) chromedp.Action[chromedp.Void] {
	b.t.Helper()
	if !it.Seen {
		b.t.Fatalf("%q on %s cannot be pressed: it is not seen, or something lies over it", words, b.Path())
	}
	b.Presses++
	return chromedp.MouseClickXY(it.X, it.Y)
}

// Type types into the field of that label, in place of what stands there. A choice is made
// by its words.
func (b *Tab) Type(label, text string) {
	b.t.Helper()
	it := b.find(label, 0, "")
	quoted, err := json.Marshal(text)
	b.must(err)
	script := `(() => { const e = document.querySelector('[data-found]'), v = %s;
		if (e.tagName === 'SELECT') { const o = [...e.options].find((o) => o.text.trim() === v || o.value === v); if (!o) return false; e.value = o.value; }
		else e.value = v;
		e.dispatchEvent(new Event('input', {bubbles: true})); e.dispatchEvent(new Event('change', {bubbles: true})); return true; })()`
	if !eval[bool](b, fmt.Sprintf(script, quoted)) {
		b.t.Fatalf("%s (%s) has no choice %q", label, it.Is, text)
	}
}

// Tick ticks the box, or picks the one of several, of that label.
func (b *Tab) Tick(label string) {
	b.t.Helper()
	b.must(chromedp.Do(b.ctx, b.click(b.find(label, 0, ""), label)))
}

// Stops are what the Tab key comes to, in order, each by its words; lost names those where
// nothing shows that they have the focus.
func (b *Tab) Stops() (stops, lost []string) {
	b.t.Helper()
	type stop struct {
		Words, Path string
		Shown       bool
	}
	eval[bool](b, "document.activeElement.blur(), window.scrollTo(0, 0), true")
	seen := map[string]bool{}
	const most = 400
	for range most {
		b.must(chromedp.Do(b.ctx, chromedp.KeyEvent("\t")))
		s := eval[stop](b, `(() => { const e = document.activeElement; if (!e || e === document.body) return {Words: '', Path: '', Shown: true};
			const s = getComputedStyle(e), path = []; for (let o = e; o.parentElement; o = o.parentElement) path.unshift([...o.parentElement.children].indexOf(o));
			return {Words: (e.innerText || e.getAttribute('aria-label') || (e.labels && e.labels[0] && e.labels[0].innerText) || e.name || '').trim(), Path: path.join('.'),
				Shown: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) > 0}; })()`)
		if s.Path == "" || seen[s.Path] {
			return stops, lost
		}
		seen[s.Path] = true
		stops = append(stops, s.Words)
		if !s.Shown {
			lost = append(lost, s.Words)
		}
	}
	b.t.Fatalf("the Tab key comes to more than %d places", most)
	return nil, nil
}

// Print prints the page to a PDF and gives how many sheets it has.
func (b *Tab) Print() (pdf []byte, sheets int) {
	b.t.Helper()
	r, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: new(true)})
	b.must(err)
	pdf = r.Data
	if len(pdf) > 0 && pdf[0] != '%' {
		if plain, err := base64.StdEncoding.DecodeString(string(pdf)); err == nil {
			pdf = plain
		}
	}
	return pdf, strings.Count(string(pdf), "/Type /Page\n") + strings.Count(string(pdf), "/Type /Page ")
}

// Picture is the whole page as a PNG.
func (b *Tab) Picture() []byte {
	b.t.Helper()
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	b.must(err)
	return png
}
