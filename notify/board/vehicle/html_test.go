package vehicle

import (
	"strings"
	"testing"

	"golang.org/x/net/html"
)

func parse(t *testing.T, body string) *html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return root
}

// all are the elements of that name within n, in order.
func all(n *html.Node, name string) (out []*html.Node) {
	if n == nil {
		return nil
	}
	for d := range n.Descendants() {
		if d.Type == html.ElementNode && d.Data == name {
			out = append(out, d)
		}
	}
	return out
}

func byID(n *html.Node, id string) *html.Node {
	for d := range n.Descendants() {
		if attr(d, "id") == id {
			return d
		}
	}
	return nil
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

// text is what an element says, on one line.
func text(n *html.Node) string {
	if n == nil {
		return ""
	}
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}
