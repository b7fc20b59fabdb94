package page

import (
	"fmt"
	"html/template"
	"regexp"
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

// Without colour, as on a print in black and white, each weight has a bar and a badge of
// its own shape.
func TestToldApartWithoutColour(t *testing.T) {
	dark := regexp.MustCompile(`#(bbb|555|111|333)`)
	fill := regexp.MustCompile(`background:#(\w+)`)
	seen := map[string]bool{}
	for i := range bars {
		filled := fill.FindStringSubmatch(string(badges[i]))[1] != "fff"
		width := regexp.MustCompile(`\d+px (solid|dotted|double)`)
		bar, badge := width.FindString(dark.ReplaceAllString(string(bars[i]), "")), fmt.Sprint(width.FindString(string(badges[i])), filled)
		if bar == "" || seen[bar] || seen["badge "+badge] {
			t.Errorf("weight %d looks like another: %s, %s", i, bar, badge)
		}
		seen[bar], seen["badge "+badge] = true, true
	}
}
