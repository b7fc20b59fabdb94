package fleet

import (
	"math"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/engine/lab"
	"telltale/rules"
)

// groupOf is a set of one group, made of these results of as many vehicles.
func groupOf(results []SurveyResult) *Set {
	def := &rules.Fleet{Samples: 1, Vehicles: 1, GroupBy: []string{"component.fluid"}}
	var samples []SurveySample
	for i, r := range results {
		samples = append(samples, SurveySample{Vehicle: "van-" + strconv.Itoa(i), Group: []string{"15W-40"}, Distance: -1, Hours: -1, Results: []SurveyResult{r}})
	}
	return &Set{Number: 1, Baselines: []Baseline{{Name: "oil", Groups: fleetGroups(def, samples)}}}
}

func looked(set *Set, times bool, limits ...float64) Audited {
	a := Audited{Baseline: "oil", Of: []string{"15W-40"}, Rule: "iron", Analyte: "Fe", Times: times, Components: 1}
	for _, l := range limits {
		a.Stages = append(a.Stages, Limit{Stage: "caution", Limit: l})
	}
	return Audit(set, []Audited{a})[0]
}

// Of the twelve gauges of the NIST/SEMATECH e-Handbook 7.2.6.2, 90 of 100 stay under
// 95.1981; the limit 95.19 is reached by 95.1937, 95.1959 and 95.1990.
func TestAuditOfGauges(t *testing.T) {
	text, err := os.ReadFile("../../testdata/nist_percentile.csv")
	if err != nil {
		t.Fatal(err)
	}
	var results []SurveyResult
	for _, line := range strings.Fields(string(text)) {
		if v, err := strconv.ParseFloat(line, 64); err == nil && strings.Contains(line, ".") && v > 90 {
			results = append(results, SurveyResult{Analyte: "Fe", Value: v})
		}
	}
	if len(results) != 12 {
		t.Fatalf("%d gauges", len(results))
	}
	a := looked(groupOf(results), false, 95.19, 96)
	if len(a.Percentiles) != 1 || a.Percentiles[0].Of != 90 || math.Abs(a.Percentiles[0].Value.High-95.1981) > 5e-5 {
		t.Errorf("90 of 100 stay under %v, wanted 95.1981", a.Percentiles)
	}
	if want := []string{"the limit that 95 of 100 stay under needs 19 results", "the limit that 98 of 100 stay under needs 49 results"}; !slices.Equal(a.Why, want) {
		t.Errorf("not known: %q", a.Why)
	}
	if got, want := []lab.Span{*a.Stages[0].Beyond, *a.Stages[1].Beyond}, []lab.Span{{Low: 3, High: 3}, {}}; !reflect.DeepEqual(got, want) {
		t.Errorf("reached by %v, wanted %v", got, want)
	}
}

// Of a group that is told of, the results at a limit or over it are counted one by one,
// outliers too; one below the laboratory's limit may be either. Of more results than a
// set keeps, the count is right to a hundredth.
func TestAuditCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.SampledFrom([]int{1, 5, 40, 199, 600}).Draw(t, "n")
		limit := float64(rapid.IntRange(1, 120).Draw(t, "limit"))
		low, high := 0.0, 0.0
		var results []SurveyResult
		for range n {
			r := SurveyResult{Analyte: "Fe", Value: float64(rapid.IntRange(1, 100).Draw(t, "Fe")), Below: rapid.IntRange(0, 9).Draw(t, "below") == 0}
			if rapid.IntRange(0, 99).Draw(t, "far") == 0 {
				r.Value *= 1000
			}
			if r.Value >= limit {
				high++
				if !r.Below {
					low++
				}
			}
			results = append(results, r)
		}
		a := looked(groupOf(results), false, limit)
		if a.Stages[0].Beyond == nil {
			return // nothing was detected
		}
		within := 0.0
		if n > keptPlaces {
			within = 1 + 0.01*float64(n)
		}
		got := *a.Stages[0].Beyond
		if a.Results != n || math.Abs(got.Low-low) > within || math.Abs(got.High-high) > within {
			t.Fatalf("%d results, of which %v reach %v: wanted %v to %v", a.Results, got, limit, low, high)
		}
	})
}

// A limit of times stands on the group's mean; what is the same of several partitions is
// told once; before the first set nothing is told.
func TestAuditOfTimes(t *testing.T) {
	set := groupOf([]SurveyResult{{Analyte: "Fe", Value: 10}, {Analyte: "Fe", Value: 20}, {Analyte: "Fe", Value: 60}})
	part := Audited{Baseline: "oil", Of: []string{"15W-40"}, Rule: "iron", Analyte: "Fe", Times: true, Components: 2, Stages: []Limit{{Stage: "warning", Limit: 2}}}
	other := part
	other.Stages = slices.Clone(part.Stages)
	got := Audit(set, []Audited{part, other})
	if len(got) != 1 || got[0].Components != 4 || *got[0].Stages[0].At != (lab.Span{Low: 60, High: 60}) || *got[0].Stages[0].Beyond != (lab.Span{Low: 1, High: 1}) {
		t.Errorf("%+v", got)
	}
	part.Stages = []Limit{{Stage: "warning", Limit: 2}}
	if a := Audit(nil, []Audited{part})[0]; a.Stages[0].At != nil || !slices.Equal(a.Why, []string{"the fleet's baselines are not made yet"}) {
		t.Errorf("%+v", a)
	}
}
