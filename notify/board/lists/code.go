package lists

import (
	"context"
	"fmt"
	"net/url"
	"strings"

	"rsc.io/qr"

	"telltale/notify/board/frame"
)

// quiet is how many modules around a code are left white (ISO/IEC 18004, 4X).
const quiet = 4

// codeSVG draws a text as a QR code of level M, which is read with some 15 % of it soiled
// (ISO/IEC 18004).
func codeSVG(text string) ([]byte, error) {
	c, err := qr.Encode(text, qr.M)
	if err != nil {
		return nil, fmt.Errorf("drawing the code of %q: %w", text, err)
	}
	n := c.Size + 2*quiet
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges"><path fill="#fff" d="M0 0h%dv%dH0z"/><path d="`, n, n, n, n)
	for y := range c.Size {
		for x := 0; x < c.Size; x++ {
			from := x
			for x < c.Size && c.Black(x, y) {
				x++
			}
			if x > from {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", from+quiet, y+quiet, x-from, x-from)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return []byte(b.String()), nil
}

// code is a vehicle's address as a code, for paper.
func (s site) code(_ context.Context, r *frame.Request) (*frame.Page, error) {
	svg, err := codeSVG(s.address(r.PathValue("vehicle")))
	if err != nil {
		return nil, frame.NotFound // no vehicle has a name as long as that
	}
	return &frame.Page{File: &frame.File{Type: "image/svg+xml", Body: svg}}, nil
}

// address is the vehicle's, as people reach it.
func (s site) address(vehicle string) string { return s.URL + frame.Path("v", vehicle) }

// local says of codes that they lead nowhere but on this machine; "" where they do not.
func (s site) local() string {
	u, err := url.Parse(s.URL)
	if err != nil || !loopback(u.Hostname()) {
		return ""
	}
	return sprintf(wordLocal, s.URL)
}
