package source

import (
	"fmt"
	"regexp"
	"strings"

	"gopkg.in/yaml.v3"
)

// commas is a number with commas between its thousands or before its decimals, its unit,
// and what parts it from other entries.
var commas = regexp.MustCompile(`[0-9]+(,[0-9]+)+(\.[0-9]+)?( ?[A-Za-z/%]+)?`)

// parted reports a number in which commas make several entries, as {distance: 5,000 mi},
// if the node stands within one. The number is one fault, whichever of its parts is read.
func (d *Document) parted(n *yaml.Node) bool {
	if n.Kind != yaml.ScalarNode || n.Style != 0 || strings.Contains(n.Value, ",") || n.Line < 1 || n.Line > len(d.lines) {
		return false
	}
	line := string(d.line(n.Line))
	at := len(string(d.line(n.Line)[:min(n.Column-1, len(d.line(n.Line)))]))
	for _, span := range commas.FindAllStringIndex(line, -1) {
		if at < span[0] || at >= span[1] {
			continue
		}
		number := line[span[0]:span[1]]
		i := strings.IndexFunc(number+" ", func(r rune) bool { return !strings.ContainsRune("0123456789,.", r) })
		f := d.FaultAt(n.Line, len([]rune(line[:span[0]]))+1, len(number), "", fmt.Sprintf("the comma in %s begins a new entry", number))
		cure := withoutCommas(number[:i]) + number[i:]
		f.Hint = "write " + cure
		d.instead(&f, n.Line, len([]rune(line[:span[0]]))+1, len(number), cure)
		d.Add(f)
		return true
	}
	return false
}
