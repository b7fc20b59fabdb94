package source

import (
	"testing"

	"gopkg.in/yaml.v3"
	"pgregory.net/rapid"
)

// TestPlacesInScalars checks, for every style in which YAML can write a value,
// that each rune of the value is found where it stands.
func TestPlacesInScalars(t *testing.T) {
	styles := map[string]yaml.Style{"plain": 0, "double": yaml.DoubleQuotedStyle, "single": yaml.SingleQuotedStyle, "literal": yaml.LiteralStyle, "folded": yaml.FoldedStyle}
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.StringOfN(rapid.SampledFrom([]rune(`ab "'\:>ä→x7 &|#(,)`+"\n")), 1, 200, -1).Draw(t, "value")
		style := rapid.SampledFrom([]string{"plain", "double", "single", "literal", "folded"}).Draw(t, "style")
		out, err := yaml.Marshal(map[string]*yaml.Node{"key": {Kind: yaml.ScalarNode, Tag: "!!str", Value: value, Style: styles[style]}})
		if err != nil {
			t.Fatal(err)
		}
		var root yaml.Node
		if err := yaml.Unmarshal(out, &root); err != nil {
			t.Fatal(err)
		}
		n := root.Content[0].Content[1]
		d := &Document{name: "a.yaml", lines: lineBreak.Split(string(out), -1)}
		offset := 0
		for _, r := range n.Value {
			if !blank(r) {
				line, col := d.At(n, offset)
				runes := d.line(line)
				if col > len(runes) || runes[col-1] != r && runes[col-1] != '\\' {
					t.Fatalf("%s\nrune %d, %q of %q, is not at %d:%d", out, offset, r, n.Value, line, col)
				}
			}
			offset++
		}
	})
}
