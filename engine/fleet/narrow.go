package fleet

import (
	"cmp"
	"slices"
	"strings"
)

func orderGroups(a, b Listing) int {
	return cmp.Or(strings.Compare(a.Baseline, b.Baseline), slices.Compare(a.Of, b.Of))
}

// MergeGroups has each group once, in order of baseline and of what it shares.
func MergeGroups(list []Listing) []Listing {
	slices.SortFunc(list, orderGroups)
	return slices.CompactFunc(list, func(a, b Listing) bool { return orderGroups(a, b) == 0 })
}

// Among are those of a list that are also in another, which MergeGroups has made.
func Among(list, merged []Listing) (out []Listing) {
	for _, l := range list {
		if _, ok := slices.BinarySearchFunc(merged, l, orderGroups); ok {
			out = append(out, l)
		}
	}
	return out
}

// Outlying are the vehicles of which samples were left out.
func Outlying(list []Listing) (vehicles []string) {
	for _, l := range list {
		for _, a := range l.Analytes {
			for _, o := range a.Outliers {
				vehicles = append(vehicles, o.Vehicle)
			}
		}
	}
	return vehicles
}

// Narrowed is the list with the samples that were left out of these vehicles alone. What it
// is made of stays as it is.
func Narrowed(list []Listing, vehicles map[string]bool) []Listing {
	list = slices.Clone(list)
	for i := range list {
		list[i].Analytes = slices.Clone(list[i].Analytes)
		for k := range list[i].Analytes {
			a := &list[i].Analytes[k]
			var left []Outlier
			for _, o := range a.Outliers {
				if vehicles[o.Vehicle] {
					left = append(left, o)
				}
			}
			a.Outliers = left
		}
	}
	return list
}
