package table

import (
	"regexp"
	"slices"
)

// isoCode is how ISO 4406 writes the cleanliness of a fluid, as 19/16/10; of fewer than 20
// counted particles >=7 stands in place of 7.
var isoCode = regexp.MustCompile(`^(?:>=|≥)? ?(\d{1,2}) ?/ ?(?:>=|≥)? ?(\d{1,2}) ?/ ?(?:>=|≥)? ?(\d{1,2})$`)

// ofCode is the number of a cell's code that the analyte asks for, one of iso4, iso6 and
// iso14: all three may name one column. Any other cell is as it was.
func ofCode(analyte, cell string) string {
	i := slices.Index([]string{"iso4", "iso6", "iso14"}, analyte)
	if m := isoCode.FindStringSubmatch(cell); i >= 0 && m != nil {
		return m[i+1]
	}
	return cell
}
