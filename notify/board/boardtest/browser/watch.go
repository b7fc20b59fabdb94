package browser

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// seen is what the browser told of a tab.
type seen struct {
	mu         sync.Mutex
	complaints []string
	blocking   []string
}

// watch hears what the browser tells of the tab.
func (b *Tab) watch() {
	b.t.Helper()
	b.must(chromedp.Listen(b.ctx, func(ev any) {
		b.seen.mu.Lock()
		defer b.seen.mu.Unlock()
		switch ev := ev.(type) {
		case *log.EventEntryAdded:
			if ev.Entry.Source != log.EntrySourceNetwork { // that an address answered 422 is no fault of the page
				b.seen.complaints = append(b.seen.complaints, fmt.Sprintf("%s: %s (%s)", ev.Entry.Source, ev.Entry.Text, ev.Entry.URL))
			}
		case *runtime.EventExceptionThrown:
			b.seen.complaints = append(b.seen.complaints, "a script failed: "+fmt.Sprint(ev.ExceptionDetails.Text, " ", ev.ExceptionDetails.URL))
		case *page.EventJavascriptDialogOpening:
			b.seen.complaints = append(b.seen.complaints, fmt.Sprintf("a dialog opened: %s: %s", ev.Type, ev.Message))
			go b.answer() // the page stands still until it is answered
		case *network.EventRequestWillBeSent:
			if ev.Type == network.ResourceTypeDocument || ev.RenderBlockingBehavior == network.RenderBlockingBehaviorBlocking || ev.RenderBlockingBehavior == network.RenderBlockingBehaviorInBodyParserBlocking {
				b.seen.blocking = append(b.seen.blocking, ev.Request.URL)
			}
		}
	}))
}

// answer lets a dialog go.
func (b *Tab) answer() {
	_, _ = chromedp.Call(b.ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{Accept: true}) // the tab may be closed
}

// Complaints are what the browser told of the pages since it was asked last: what their
// policy forbade, scripts that failed, dialogs that opened.
func (b *Tab) Complaints() []string {
	b.t.Helper()
	eval[bool](b, "true") // what the browser told before its answer has come
	b.seen.mu.Lock()
	defer b.seen.mu.Unlock()
	out := b.seen.complaints
	b.seen.complaints = nil
	return out
}

// Blocking are the addresses that the browser had to ask for before it could draw, since it
// was asked last: the page, and what it says cannot wait.
func (b *Tab) Blocking() []string {
	b.t.Helper()
	eval[bool](b, "true")
	b.seen.mu.Lock()
	defer b.seen.mu.Unlock()
	out := b.seen.blocking
	b.seen.blocking = nil
	return out
}

// Focus gives the link or button of those words the focus.
func (b *Tab) Focus(words string) {
	b.t.Helper()
	b.find(words, 0, "")
	eval[bool](b, "document.querySelector('[data-found]').focus(), true")
}

// Focused is what has the focus, by its words.
func (b *Tab) Focused() string {
	b.t.Helper()
	return eval[string](b, "(document.activeElement.innerText || document.activeElement.value || '').trim()")
}

// Until asks the page again and again until what a script says is true, for twenty seconds
// at most.
func (b *Tab) Until(script string) {
	b.t.Helper()
	ask, most := time.NewTicker(50*time.Millisecond), time.After(20*time.Second)
	defer ask.Stop()
	for !eval[bool](b, script) {
		select {
		case <-ask.C:
		case <-most:
			b.t.Fatalf("%s: %s did not come true:\n%s", b.Path(), script, b.Text())
		}
	}
}

// Cold has the browser keep nothing of what it loads, as on a first visit.
func (b *Tab) Cold() {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true})
	b.must(err)
}

// Value is what stands in the field of that label.
func (b *Tab) Value(label string) string {
	b.t.Helper()
	b.find(label, 0, "")
	return eval[string](b, "document.querySelector('[data-found]').value")
}

// Upload chooses a file for the field of that label.
func (b *Tab) Upload(label, path string) {
	b.t.Helper()
	b.find(label, 0, "")
	_, err := chromedp.Run(b.ctx, chromedp.SetUploadFiles(chromedp.CSS("[data-found]"), []string{path}))
	b.must(err)
}

// Gone ends the test where the text stands on the page.
func (b *Tab) Gone(t testing.TB, texts ...string) {
	t.Helper()
	all := strings.Join(strings.Fields(b.Text()), " ")
	for _, text := range texts {
		if strings.Contains(all, text) {
			t.Fatalf("%s still has %q:\n%s", b.Path(), text, b.Text())
		}
	}
}
