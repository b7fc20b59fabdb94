package intake

import (
	"flag"
	"os"
	"testing"
	"time"

	"golang.org/x/tools/txtar"
)

var update = flag.Bool("update", false, "write what the registers give into testdata")

// TestRegisterNames: names that clash are faults of the register, each with its place and
// a cure. In testdata each register is followed by its faults.
func TestRegisterNames(t *testing.T) {
	const path = "testdata/names.txtar"
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	a := txtar.Parse(text)
	for i := 0; i+1 < len(a.Files); i += 2 {
		_, err := Register("vehicles.yaml", a.Files[i].Data, time.Unix(1e9, 0))
		got := ""
		if err != nil {
			got = err.Error() + "\n"
		}
		want := &a.Files[i+1].Data
		if *update {
			*want = []byte(got)
		} else if got != string(*want) {
			t.Errorf("%s: got\n%swant\n%s", a.Files[i].Name, got, *want)
		}
	}
	if *update {
		if err := os.WriteFile(path, txtar.Format(a), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
