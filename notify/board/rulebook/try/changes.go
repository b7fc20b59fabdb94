package try

import (
	"strings"

	"github.com/rogpeppe/go-internal/diff"

	"telltale/notify/board/rulebook/ran"
	"telltale/rules"
)

// mostChanges is how many lines of what was changed are shown.
const mostChanges = 300

// changes are the lines in which a text differs from the file in force, as a unified diff
// without the names; none where it is the same.
func changes(files []rules.File, name, text string) []string {
	was := ""
	for _, f := range files {
		if ran.File(f.Name) == name {
			was = unix(string(f.Text))
		}
	}
	lines := strings.Split(strings.TrimSuffix(string(diff.Diff("was", []byte(was), "is", []byte(text))), "\n"), "\n")
	if len(lines) < 3 {
		return nil
	}
	if lines = lines[3:]; len(lines) > mostChanges { // past the names
		lines = append(lines[:mostChanges:mostChanges], "…")
	}
	return lines
}
