package page

import (
	"html/template"
	"strings"
	"testing"
)

// A page whose HTML cannot be made goes out as text.
func TestPlainWhereTheTemplateFails(t *testing.T) {
	was := pageTemplate
	t.Cleanup(func() { pageTemplate = was })
	pageTemplate = template.Must(template.New("page").Parse("{{index .Blocks 999}}"))
	p := Page{Title: "Bus 7", Blocks: []Block{{Heading: "<b>", Strong: "Sample again within 5,000 km", Lines: []Line{{"Found", "Copper 131 mg/kg is 3.3 times the baseline."}}}}}
	text, html, fault := p.Write()
	for _, want := range []string{"Found: Copper 131 mg/kg is 3.3 times the baseline.", "> Sample again within 5,000 km"} {
		if !strings.Contains(text, want) || !strings.Contains(html, template.HTMLEscapeString(want)) {
			t.Errorf("%q is not in\n%s\n%s", want, text, html)
		}
	}
	if fault == nil || !strings.Contains(fault.Error(), "out of range: 999") || strings.Contains(html, "<b>") {
		t.Errorf("%v\n%s", fault, html)
	}
}
