package source

import (
	"regexp"
	"strings"

	"gopkg.in/yaml.v3"
)

// thousands is a number with commas between its thousands, and its unit.
var thousands = regexp.MustCompile(`[0-9]{1,3}(,[0-9]{3})+( ?[A-Za-z/]+)?`)

// parted reports a number in which commas make several entries, as {distance: 5,000 mi},
// if the node stands within one. The number is one fault, whichever of its parts is read.
func (d *Document) parted(n *yaml.Node) bool {
	if n.Kind != yaml.ScalarNode || n.Style != 0 || n.Line < 1 || n.Line > len(d.lines) {
		return false
	}
	line := string(d.line(n.Line))
	at := len(string(d.line(n.Line)[:min(n.Column-1, len(d.line(n.Line)))]))
	for _, span := range thousands.FindAllStringIndex(line, -1) {
		if at < span[0] || at >= span[1] {
			continue
		}
		number := line[span[0]:span[1]]
		d.add(n.Line, len([]rune(line[:span[0]]))+1, len(number), "write "+strings.ReplaceAll(number, ",", ""), "the comma in %s begins a new entry", number)
		return true
	}
	return false
}
