package notify

import (
	"sort"

	"telltale/notify/page"
)

// maxList bounds the HTML of a list, in bytes. Web mailers cut what is longer, common
// practice is some 100 kB, no source.
const maxList = 90_000

// fit cuts the page until its HTML is no longer than the limit: items from the end, of
// which a line says how many there are. The worst stands first, so it stays.
func (p *sheet) fit(limit int) {
	all := p.items()
	if p.first(all).size() <= limit {
		return
	}
	// The least number of items left out with which it fits.
	out := sort.Search(all, func(out int) bool { return p.first(all-out).size() <= limit })
	*p = *p.first(all - out)
}

func (p *sheet) items() (n int) {
	for i := range p.Blocks {
		n += len(p.Blocks[i].Items)
	}
	return n
}

// first is the page with the first items alone, and how many more there are.
func (p *sheet) first(items int) *sheet {
	cut := *p
	cut.Blocks = nil
	more, place := 0, 0
	for _, b := range p.Blocks {
		n := len(b.Items)
		b.Items = b.Items[:min(n, items)]
		items -= len(b.Items)
		more += n - len(b.Items)
		if n == 0 || len(b.Items) > 0 {
			cut.Blocks = append(cut.Blocks, b)
		}
		if n > 0 {
			place = len(cut.Blocks)
		}
	}
	if more > 0 {
		rest := page.Block{Heading: restOf(more)}
		cut.Blocks = append(cut.Blocks[:place:place], append([]page.Block{rest}, cut.Blocks[place:]...)...)
	}
	return &cut
}

// size is how long the page's HTML is, in bytes.
func (p *sheet) size() int {
	copied := *p
	_, html, _ := copied.Write()
	return len(html)
}
