package rules

import (
	"regexp"
	"strings"
	"testing"
)

// What can hurt on and around a vehicle, each with its measures in a few sentences,
// that defer to who knows better.
func TestCautionsSayWhatToDo(t *testing.T) {
	must := []string{"hot fluid", "raised vehicle", "vehicle can roll", "used fluid", "pressurised coolant", "brake hydraulics", "air brakes",
		"high voltage", "fuel and ignition", "springs", "dust", "heavy parts", "working on a road"}
	for _, name := range must {
		if CautionWords(name) == "" {
			t.Errorf("nothing is said of %q", name)
		}
	}
	defers := regexp.MustCompile(`(?i)maker|local law|licensed|trained|workshop`)
	for _, name := range CautionNames() {
		text := CautionWords(name)
		if n := len(regexp.MustCompile(`[.:] `).FindAllString(text, -1)); n < 1 || n > 4 || len(text) > 330 {
			t.Errorf("%s: %d parts, %d bytes", name, n+1, len(text))
		}
		if !strings.HasSuffix(text, ".") || strings.Contains(text, "\n") {
			t.Errorf("%s: %q", name, text)
		}
		if !defers.MatchString(text) {
			t.Errorf("%s defers to nobody", name)
		}
	}
}

// A book may explain cautions of its own, and reword those of the program.
func TestOwnCautions(t *testing.T) {
	b := load(t, "book: 1\ncautions: {bees: Leave them alone., hot fluid: Ask Ines first.}\ntasks: {t: {every: {time: 1 day}, cautions: [bees, hot fluid, dust]}}\n")
	got := b.Own(b.Tasks[0].Cautions)
	if len(got) != 2 || got["bees"] != "Leave them alone." || got["hot fluid"] != "Ask Ines first." || len(b.Uncautioned) > 0 {
		t.Errorf("%v, %v", got, b.Uncautioned)
	}
	if b.Own([]string{"dust"}) != nil {
		t.Error("words of what the book does not explain")
	}
}
