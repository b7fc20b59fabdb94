package page

import (
	_ "embed"
	"html/template"
	"strings"
)

//go:embed page.html
var pageHTML string

// The styles stand on the elements, since many mail programs drop a style sheet;
// severity is shown by the width of a bar and by the word, so that a grey print
// says as much as a screen.
var (
	bars = [...]template.CSS{
		"padding:0 0 0 18px;border-left:2px solid #bbb", "padding:0 0 0 17px;border-left:3px solid #888",
		"padding:0 0 0 14px;border-left:6px solid #555", "padding:0 0 0 10px;border-left:10px solid #111",
	}
	badges = [...]template.CSS{
		"border:1px solid #888;color:#333;background:#fff", "border:1px solid #444;color:#111;background:#fff",
		"border:1px solid #555;color:#fff;background:#555", "border:1px solid #111;color:#fff;background:#111",
	}
	pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
		"bar":        func(n int) template.CSS { return bars[n] },
		"answer":     func() string { return answerHere },
		"answerThis": func() string { return answerThis },
		"leave":      func() string { return leaveHere },
		"badge":      func(n int) template.CSS { return badges[n] },
	}).Parse(pageHTML))
)

// html writes the page as one HTML document that loads nothing.
func (p *Page) html() (string, error) {
	var b strings.Builder
	err := pageTemplate.Execute(&b, p)
	return b.String(), err
}

// Write writes the page as text and as HTML, every text of it cleaned. If the HTML
// cannot be made, fault says why, and the text stands in for it: a message with plain
// words is better than none.
func (p *Page) Write() (text, html string, fault error) {
	p.clean()
	text = p.text()
	if html, fault = p.html(); fault != nil {
		html = Plain(text)
	}
	return text, html, fault
}

// Plain is a text as a page without a template.
func Plain(text string) string {
	return "<!doctype html><meta charset=\"utf-8\"><pre style=\"white-space:pre-wrap\">" + template.HTMLEscapeString(text) + "</pre>\n"
}
