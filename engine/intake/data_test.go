package intake

import (
	"fmt"
	"strings"
	"testing"

	"telltale/engine/event"
)

type dataCase struct{ data, want string }

func checkReasons(t *testing.T, kind string, cases []dataCase) {
	t.Helper()
	for _, c := range cases {
		_, err := Decode([]byte(envelop(kind, c.data)))
		if got := text(err); got != c.want {
			t.Errorf("%s %.200s\n got %q\nwant %q", kind, c.data, got, c.want)
		}
	}
}

// times repeats s with the numbers from 0 in place of %d, joined by commas.
func times(n int, s string) string {
	out := make([]string, n)
	for i := range out {
		out[i] = strings.ReplaceAll(s, "%d", fmt.Sprint(i))
	}
	return strings.Join(out, ",")
}

var long = strings.Repeat("n", 129)

var readingCases = []dataCase{
	{`{"meter":"odometer","value":0,"unit":"km"}`, ``},
	{`{"meter":"odometer","value":6213711,"unit":"mi"}`, ``},
	{`{"meter":"engine","value":"PT13H28M30S"}`, ``},
	{`[1]`, `data: a list where an object is expected`},
	{`"x"`, `data: a text where an object is expected`},
	{`{}`, `data.value: missing`},
	{`{"value":1,"unit":"km"}`, `data.meter: missing`},
	{`{"meter":"","value":1,"unit":"km"}`, `data.meter: missing`},
	{`{"meter":"` + long + `","value":1,"unit":"km"}`, `data.meter: 129 bytes long; the limit is 128`},
	{`{"meter":"odometer ","value":1,"unit":"km"}`, `data.meter: "odometer " begins or ends with a space`},
	{`{"meter":"odometer","unit":"km"}`, `data.value: missing`},
	{`{"meter":"odometer","value":null,"unit":"km"}`, `data.value: null; leave the field out instead`},
	{`{"meter":"odometer","value":1}`, `data.unit: missing, a reading needs km, mi, m, h, min or s`},
	{`{"meter":"odometer","value":1,"unit":"KM"}`, `data.unit: unknown unit "KM", a reading needs km, mi, m, h, min or s`},
	{`{"meter":"odometer","value":1,"unit":"L"}`, `data.unit: "L" measures a volume, a reading needs km, mi, m, h, min or s`},
	{`{"meter":"odometer","value":1,"unit":"days"}`, `data.unit: "days" measures days, a reading needs km, mi, m, h, min or s`},
	{`{"meter":"odometer","value":-0.5,"unit":"km"}`, `data.value: -0.5 is negative`},
	{`{"meter":"odometer","value":10000000,"unit":"km"}`, ``},
	{`{"meter":"odometer","value":10000001,"unit":"km"}`, `data.value: 10000001 km is more than a reading can be`},
	{`{"meter":"odometer","value":6213712,"unit":"mi"}`, `data.value: 6213712 mi is more than a reading can be`},
	{`{"meter":"engine","value":1000001,"unit":"h"}`, `data.value: 1000001 h is more than a reading can be`},
	{`{"meter":"odometer","value":1e400,"unit":"km"}`, `data.value: 1e400 is not a number that can be kept`},
	{`{"meter":"odometer","value":1e308,"unit":"km"}`, `data.value: 1e+308 km is more than a reading can be`},
	{`{"meter":"odometer","value":NaN,"unit":"km"}`, `not JSON: invalid character 'N' at start of value at byte 167`},
	{`{"meter":"odometer","value":"81234.5","unit":"km"}`, `data.value: "81234.5" is not an ISO 8601 duration in days, hours, minutes and seconds, like PT13H28M30S`},
	{`{"meter":"odometer","value":"PT1H","unit":"h"}`, `data.unit: an ISO 8601 duration carries its own units; leave unit out`},
	{`{"meter":"odometer","value":true,"unit":"km"}`, `data.value: true or false where a number is expected`},
	{`{"meter":["odometer"],"value":1,"unit":"km"}`, `data.meter: a list where a text is expected`},
	{`{"meter":"odometer","Value":1,"unit":"km"}`, `data.Value: unknown field; expected "meter", "value", "unit", "toppedUp" or "component"`},
	{`{"meter":"odometer","value":1,"unit":"km","a.b c":{}}`, `data["a.b c"]: unknown field; expected "meter", "value", "unit", "toppedUp" or "component"`},
	{`{"meter":"odometer","value":1,"unit":"km","toppedUp":{"value":0.3,"unit":"L"},"component":"engine"}`, ``},
	{`{"meter":"odometer","value":1,"unit":"km","toppedUp":{"value":10,"unit":"fl oz"}}`, `data.toppedUp.unit: unknown unit "fl oz", a fluid needs L, mL, qt or gal`},
	{`{"meter":"odometer","value":1,"unit":"km","toppedUp":{"value":-0.3,"unit":"L"}}`, `data.toppedUp.value: -0.3 is negative`},
	{`{"meter":"odometer","value":1,"unit":"km","component":"engine"}`, `data.component: a reading has a component only together with toppedUp`},
	{`{"meter":"odometer","value":1,"value":2,"unit":"km"}`, `data.value: appears twice`},
	{`{"meter":"odo\u0000","value":1,"unit":"km"}`, `data.meter: control character U+0000`},
	{`{"meter":"odo\n","value":1,"unit":"km"}`, `data.meter: control character U+000A`},
	{`{"meter":"\udc00","value":1,"unit":"km"}`, `not JSON: half a surrogate pair at byte 149`},
	{"{\"meter\":\"\xff\",\"value\":1,\"unit\":\"km\"}", `not JSON: invalid UTF-8 at byte 149`},
}

func TestReading(t *testing.T) { checkReasons(t, "reading", readingCases) }

var meterReplacedCases = []dataCase{
	{`{"meter":"odometer","last":{"value":83000,"unit":"km"},"first":{"value":12,"unit":"mi"}}`, ``},
	{`{"meter":"engine","last":"P1DT2H","first":{"value":0,"unit":"min"}}`, ``},
	{`{"last":{"value":83000,"unit":"km"},"first":{"value":12,"unit":"km"}}`, `data.meter: missing`},
	{`{"meter":"odometer","first":{"value":12,"unit":"km"}}`, `data.last: missing`},
	{`{"meter":"odometer","last":{"value":83000,"unit":"km"}}`, `data.first: missing`},
	{`{"meter":"odometer","last":83000,"first":12}`, `data.last: a number where a quantity is expected, like {"value":4,"unit":"L"}`},
	{`{"meter":"odometer","last":{"value":83000},"first":12}`, `data.last: incomplete; expected value and unit, like {"value":4,"unit":"L"}`},
	{`{"meter":"odometer","last":{"value":"83000","unit":"km"},"first":12}`, `data.last.value: a text where a number is expected`},
	{`{"meter":"odometer","last":{"value":1,"unit":"km","of":1}}`, `data.last.of: unknown field; expected "value" or "unit"`},
	{`{"meter":"odometer","last":"PT","first":12}`, `data.last: "PT" is not an ISO 8601 duration in days, hours, minutes and seconds, like PT13H28M30S`},
	{`{"meter":"odometer","last":{"value":1,"unit":"gal"},"first":{"value":12,"unit":"km"}}`, `data.last.unit: "gal" measures a volume, a meter needs km, mi, m, h, min or s`},
	{`{"meter":"odometer","last":{"value":1,"unit":"km"},"first":{"value":12,"unit":"h"}}`, `data.first.unit: "h" measures hours, the old meter's "km" a distance`},
	{`{"meter":"odometer","last":{"value":1,"unit":"km"},"first":{"value":-12,"unit":"km"}}`, `data.first.value: -12 is negative`},
}

func TestMeterReplaced(t *testing.T) { checkReasons(t, "meter-replaced", meterReplacedCases) }

var vehicleCases = []dataCase{
	{`{}`, ``},
	{`{"retired":true}`, ``},
	{`{"name":"Bus 7","kind":"minibus","tags":{"depot":"north","note":""},"inService":"2027-03-01","zone":"Europe/London","meters":[{"name":"odometer","kind":"distance"}],"components":[{"name":"transmission","kind":"automatic transmission","fluid":"ATF","capacity":{"value":8.0,"unit":"L"},"meters":["odometer"]}],"people":["ines"]}`, ``},
	{`{"name":7}`, `data.name: a number where a text is expected`},
	{`{"name":"` + strings.Repeat("n", 1025) + `"}`, `data.name: 1025 bytes long; the limit is 1024`},
	{`{"name":"` + long + `"}`, `data.name: 129 bytes long; the limit is 128`},
	{`{"tags":{"":"x"}}`, `data.tags[""]: missing`},
	{`{"tags":{"a":1}}`, `data.tags.a: a number where a text is expected`},
	{`{"tags":["a"]}`, `data.tags: a list where an object is expected`},
	{`{"tags":{` + times(65, `"t%d":"x"`) + `}}`, `data.tags: 65 entries; the limit is 64`},
	{`{"inService":"2027-02-29"}`, `data.inService: "2027-02-29" is not a date like 2031-02-10`},
	{`{"inService":"1899-12-31"}`, `data.inService: the year 1899 is not between 1900 and 2199`},
	{`{"inService":"0000-01-01"}`, `data.inService: the year 0 is not between 1900 and 2199`},
	{`{"inService":"2027-3-1"}`, `data.inService: "2027-3-1" is not a date like 2031-02-10`},
	{`{"zone":"UTC"}`, ``},
	{`{"zone":"Local"}`, `data.zone: "Local" is not a time zone; expected a name like "Europe/London"`},
	{`{"zone":"Larkfell"}`, `data.zone: "Larkfell" is not a time zone; expected a name like "Europe/London"`},
	{`{"zone":"../etc/passwd"}`, `data.zone: "../etc/passwd" is not a time zone; expected a name like "Europe/London"`},
	{`{"meters":[{"name":"odometer","kind":"miles"}]}`, `data.meters[0].kind: "miles"; expected "distance" or "hours"`},
	{`{"meters":[{"kind":"hours"}]}`, `data.meters[0].name: missing`},
	{`{"meters":[{"name":"a","kind":"hours"},{"name":"a","kind":"distance"}]}`, `data.meters[1].name: "a" appears twice`},
	{`{"meters":[{"name":"a","kind":"hours","unit":"h"}]}`, `data.meters[0].unit: unknown field; expected "name", "kind" or "was"`},
	{`{"meters":[` + times(33, `{"name":"m%d","kind":"hours"}`) + `]}`, `data.meters: 33 entries; the limit is 32`},
	{`{"components":[{"name":"engine"}]}`, `data.components[0].kind: missing`},
	{`{"components":[{"kind":"engine"}]}`, `data.components[0].name: missing`},
	{`{"components":[{"name":"a","kind":"engine"},{"name":"a","kind":"hydraulics"}]}`, `data.components[1].name: "a" appears twice`},
	{`{"components":[` + times(33, `{"name":"c%d","kind":"engine"}`) + `]}`, `data.components: 33 entries; the limit is 32`},
	{`{"components":[{"name":"a","kind":"engine","capacity":{"value":8,"unit":"kg"}}]}`, `data.components[0].capacity.unit: unknown unit "kg", a capacity needs L, mL, qt or gal`},
	{`{"components":[{"name":"a","kind":"engine","capacity":{"value":0,"unit":"L"}}]}`, `data.components[0].capacity.value: 0 holds nothing; leave capacity out if it is unknown`},
	{`{"components":[{"name":"a","kind":"engine","capacity":{"value":100001,"unit":"L"}}]}`, `data.components[0].capacity.value: 100001 L is more than a capacity can be`},
	{`{"components":[{"name":"a","kind":"engine","torque":{"plug":{"value":35,"unit":"ft lb"}},"source":"the manual"}]}`, `data.components[0].torque["plug"].unit: unknown unit "ft lb", a torque needs N m, lbf ft or lbf in`},
	{`{"components":[{"name":"a","kind":"engine","torque":{"plug":{"value":35,"unit":"L"}},"source":"the manual"}]}`, `data.components[0].torque["plug"].unit: "L" measures a volume, a torque needs N m, lbf ft or lbf in`},
	{`{"components":[{"name":"a","kind":"engine","torque":{"plug":{"value":0,"unit":"N m"}},"source":"the manual"}]}`, `data.components[0].torque["plug"].value: 0 tightens nothing; leave it out if it is unknown`},
	{`{"components":[{"name":"a","kind":"engine","torque":{"plug":{"value":35,"unit":"N m"}}}]}`, `data.components[0].source: missing; a torque needs its source, such as the maker's manual and the page`},
	{`{"components":[{"name":"a","kind":"engine","capacity":8}]}`, `data.components[0].capacity: a number where a quantity is expected, like {"value":4,"unit":"L"}`},
	{`{"components":[{"name":"a","kind":"engine","meters":["hours"]}]}`, `data.components[0].meters[0]: "hours" is not one of data.meters`},
	{`{"people":["ines",""]}`, `data.people[1]: missing`},
	{`{"people":["ines","ines"]}`, `data.people[1]: "ines" appears twice`},
	{`{"people":[` + times(65, `"p%d"`) + `]}`, `data.people: 65 entries; the limit is 64`},
	{`{"retired":"yes"}`, `data.retired: a text where true or false is expected`},
	{`{"owner":"x"}`, `data.owner: unknown field; expected "name", "kind", "tags", "inService", "zone", "meters", "components", "people", "retired", "was", "key", "plate", "vin" or "reads"`},
	{`{"reads":["mi","qt","degF","psi"]}`, ``},
	{`{"reads":["mi","km"]}`, `data.reads: mi and km are both for a distance; choose one`},
	{`{"reads":["h"]}`, `data.reads: "h" is not a unit to read in; choose among km, mi, L, qt, gal, degC, degF, kPa, bar, psi`},
	{`{"reads":"mi"}`, `data.reads: a text where a list is expected`},
	{`{"plate":"LK31 CTB","vin":"ZZ1LARKFE00000007","was":["bus-7","LK 31 CTB"]}`, ``},
	{`{"vin":"zz1larkfe00000007"}`, ``},
	{`{"vin":"ZZ1LARKFE0000007"}`, `data.vin: a VIN has 17 characters, this one 16`},
	{`{"vin":"ZZ1LARKFEO0000007"}`, `data.vin: a VIN has no O; is it a 0?`},
	{`{"vin":"ZZ1LARKFI00000007"}`, `data.vin: a VIN has no I; is it a 1?`},
	{`{"vin":"ZZ1LARKF-00000007"}`, `data.vin: a VIN has figures and the letters A to Z, not "-"`},
	{`{"was":["a","a"]}`, `data.was[1]: "a" appears twice`},
	{`{"components":[{"name":"a","kind":"engine","was":["b"]},{"name":"b","kind":"engine"}]}`, `data.components[0].was[0]: "b" is a present name`},
	{`{"meters":[{"name":"a","kind":"hours","was":["c"]},{"name":"b","kind":"hours","was":["c"]}]}`, `data.meters[1].was[0]: "c" is an earlier name of another one too`},
}

func TestVehicle(t *testing.T) { checkReasons(t, "vehicle", vehicleCases) }

var serviceCases = []dataCase{
	{`{"tasks":["transmission fluid"],"component":"transmission","meters":{"odometer":{"value":400,"unit":"km"}},"fluid":{"name":"ATF","drained":{"value":4.0,"unit":"L"},"filled":{"value":4,"unit":"qt"}},"filter":true,"by":"north workshop","note":"thin grey film\n\ton the magnet"}`, ``},
	{`{"note":"washed"}`, ``},
	{`{"component":"engine","fluid":{}}`, ``},
	{`{"component":"engine","toppedUp":{"value":0.3,"unit":"L"}}`, ``},
	{`{"toppedUp":{"value":-1,"unit":"L"}}`, `data.toppedUp.value: -1 is negative`},
	{`{"toppedUp":{"value":1,"unit":"km"}}`, `data.toppedUp.unit: "km" measures a distance, a fluid needs L, mL, qt or gal`},
	{`{}`, `data: nothing was done; expected tasks, meters, fluid, toppedUp, filter, a defect or a note`},
	{`{"tasks":[],"meters":{},"by":"north workshop"}`, `data: nothing was done; expected tasks, meters, fluid, toppedUp, filter, a defect or a note`},
	{`{"tasks":"transmission fluid"}`, `data.tasks: a text where a list is expected`},
	{`{"tasks":[""]}`, `data.tasks[0]: missing`},
	{`{"tasks":["a",null]}`, `data.tasks[1]: null; leave the field out instead`},
	{`{"tasks":["a","b","a"]}`, `data.tasks[2]: "a" appears twice`},
	{`{"tasks":[` + times(64, `"t%d"`) + `]}`, ``},
	{`{"tasks":[` + times(65, `"t%d"`) + `]}`, `data.tasks: 65 entries; the limit is 64`},
	{`{"meters":{"":{"value":1,"unit":"km"}}}`, `data.meters[""]: missing`},
	{`{"meters":{"odometer":{"value":1,"unit":"L"}}}`, `data.meters["odometer"].unit: "L" measures a volume, a meter needs km, mi, m, h, min or s`},
	{`{"meters":{"odometer":{"value":1}}}`, `data.meters.odometer: incomplete; expected value and unit, like {"value":4,"unit":"L"}`},
	{`{"meters":{` + times(33, `"m%d":{"value":1,"unit":"km"}`) + `}}`, `data.meters: 33 entries; the limit is 32`},
	{`{"component":"a","fluid":{"filled":{"value":4,"unit":"km"}}}`, `data.fluid.filled.unit: "km" measures a distance, a fluid needs L, mL, qt or gal`},
	{`{"component":"a","fluid":{"drained":{"value":-4,"unit":"L"},"filled":{"value":4,"unit":"km"}}}`, `data.fluid.drained.value: -4 is negative`},
	{`{"component":"a","fluid":{"volume":4}}`, `data.fluid.volume: unknown field; expected "name", "drained", "filled" or "flush"`},
	{`{"filter":1}`, `data.filter: a number where true or false is expected`},
	{`{"note":"` + strings.Repeat("n", 8192) + `"}`, ``},
	{`{"note":"` + strings.Repeat("n", 8193) + `"}`, `data.note: 8193 bytes long; the limit is 8192`},
	{`{"note":"a\u0000"}`, `data.note: control character U+0000`},
	{`{"by":"a\nb","note":"x"}`, `data.by: control character U+000A`},
}

func TestService(t *testing.T) { checkReasons(t, "service", serviceCases) }

// sample puts a member in a sample that is whole.
func sample(member string) string {
	return `{"number":"L-1","component":"transmission","results":[{"analyte":"Cu","value":131,"unit":"mg/kg"}]` + member + `}`
}

func results(list string) string {
	return `{"number":"L-1","component":"transmission","results":[` + list + `]}`
}

var sampleCases = []dataCase{
	{sample(``), ``},
	{sample(`,"revision":2,"drawn":"2031-01-03","taken":"after","fluidAge":"PT500H","laboratory":"valley","method":"ICP","point":"drain"`), ``},
	{sample(`,"drawn":"2031-01-02"`), ``}, // it is still that day somewhere
	{sample(`,"drawn":"2031-01-03T07:10:00+01:00"`), ``},
	{`{"component":"a","results":[]}`, `data.number: missing`},
	{`{"number":"L-1","results":[]}`, `data.component: missing`},
	{`{"number":"L-1","component":"a"}`, `data.results: missing; a sample has at least one`},
	{sample(`,"revision":-1`), `data.revision: -1 is negative`},
	{sample(`,"repeat":-1`), `data.repeat: -1 is negative`},
	{sample(`,"revision":1.5`), `data.revision: 1.5 is not a whole number that can be kept`},
	{sample(`,"revision":"1"`), `data.revision: a text where a whole number is expected`},
	{sample(`,"drawn":"10.02.2031"`), `data.drawn: "10.02.2031" is neither a date like 2031-02-10 nor an RFC 3339 time`},
	{sample(`,"drawn":"2031-02-31"`), `data.drawn: "2031-02-31" is neither a date like 2031-02-10 nor an RFC 3339 time`},
	{sample(`,"drawn":"2030-12-20"`), `data.drawn: 2030-12-20, but the event's time is 2031-01-03T06:10:00Z; time is when it was drawn, recordedtime when it was reported`},
	{sample(`,"drawn":"2031-01-05T07:00:00Z"`), `data.drawn: 2031-01-05T07:00:00Z, but the event's time is 2031-01-03T06:10:00Z; time is when it was drawn, recordedtime when it was reported`},
	{sample(`,"taken":"during"`), `data.taken: "during"; expected "before" or "after"`},
	{sample(`,"fluidAge":{"value":3,"unit":"months"}`), ``}, // the sample is judged without it
	{sample(`,"fluidAge":{"value":-3,"unit":"km"}`), ``},
	{sample(`,"fluidAge":{"value":3,"unit":"summers"}`), ``},
	{sample(`,"meters":{"odometer":{"value":1,"unit":"ppm"}}`), `data.meters["odometer"].unit: "ppm" measures a concentration, a meter needs km, mi, m, h, min or s`},
	{results(`{"value":1,"unit":"mg/kg"}`), `data.results[0].analyte: missing`},
	{results(`{"analyte":"Cu","unit":"mg/kg"}`), `data.results[0]: no result; expected value, below, above, notDetected or trace`},
	{results(`{"analyte":"Cu","value":4.0,"decimals":10,"unit":"mg/kg"}`), `data.results[0].decimals: 10 is not from 0 to 9`},
	{results(`{"analyte":"Cu","trace":false}`), `data.results[0]: no result; expected value, below, above, notDetected or trace`},
	{results(`{"analyte":"Cu","value":1,"below":2,"unit":"mg/kg"}`), `data.results[0]: more than one of value, below, above, notDetected and trace; expected one of them`},
	{results(`{"analyte":"Cu","above":1,"notDetected":true,"unit":"mg/kg"}`), `data.results[0]: more than one of value, below, above, notDetected and trace; expected one of them`},
	{results(`{"analyte":"Cu","below":1,"notDetected":true,"unit":"mg/kg"},{"analyte":"Pb","trace":true,"below":5,"unit":"ppm"},{"analyte":"Fe","above":1000,"unit":"ppm"}`), ``},
	{results(`{"analyte":"Cu","notDetected":"yes"}`), `data.results[0].notDetected: a text where true or false is expected`},
	{results(`{"analyte":"Fe","value":1,"unit":"ppm"},{"analyte":"Cu","value":"x","unit":"mg/kg"}`), `data.results[1].value: a text where a number is expected`},
	{sample(`,"density":{"value":0.86,"unit":"g/mL"}`), ``},
	{sample(`,"density":0.86`), `data.density: a number where a quantity is expected, like {"value":4,"unit":"L"}`},
	// What a result says does not stop the sheet.
	{results(`{"analyte":"Cu","value":1,"unit":"mg/kg"},{"analyte":"Cu","value":2,"unit":"mg/kg"}`), ``},
	{results(`{"analyte":"Cu","value":-1,"unit":"mg/kg"},{"analyte":"water","value":101,"unit":"%"},{"analyte":"Fe","value":1,"unit":"km"}`), ``},
	{results(`{"analyte":"KV100","value":6.9,"unit":"cst"},{"analyte":"unobtainium","value":1},{"analyte":"Cu","below":0,"unit":"mg/kg"}`), ``},
	{results(`{"analyte":"flash","value":-20,"unit":"degF"}`), ``},
	{results(`{"analyte":"ferrous","value":12,"unit":"index"}`), ``},
	{results(times(200, `{"analyte":"a%d","value":1,"unit":"%"}`)), ``},
	{results(times(201, `{"analyte":"a%d","value":1,"unit":"%"}`)), `data.results: 201 entries; the limit is 200`},
}

func TestSample(t *testing.T) { checkReasons(t, "sample", sampleCases) }

// A number keeps the decimals that it was written with.
func TestDecimals(t *testing.T) {
	ev, err := Decode([]byte(`{"specversion":"1.0","type":"telltale.sample.v1","source":"/laboratory","id":"s-1","subject":"bus-07","time":"2031-02-10T14:00:00Z","data":` +
		results(`{"analyte":"Cu","value":4.0,"unit":"mg/kg"},{"analyte":"Pb","below":1.00 ,"unit":"mg/kg"},{"analyte":"Fe","value":120,"unit":"mg/kg"},{"analyte":"Al","above":5.10}, {"analyte":"Ag","value":1.5},{"analyte":"Sn","value":1.0e1}`) + `}`))
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for _, r := range ev.Data.(*event.SampleData).Results {
		got += r.String() + fmt.Sprintf(" (%d); ", r.Decimals)
	}
	if want := "4.0 mg/kg (1); below 1.00 mg/kg (2); 120 mg/kg (0); above 5.10 (2); 1.5 (0); 10 (0); "; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// An analyte may go by its usual name; what nobody defines keeps its own.
func TestAnalyteNames(t *testing.T) {
	names := map[string]string{"copper": "Cu", "Aluminum": "Al", "IRON": "Fe", "Viscosity at 100 °C": "KV100", "acid number": "TAN",
		"Cu": "Cu", "CU": "CU", "unobtainium": "unobtainium"}
	for said, want := range names {
		ev, err := Decode([]byte(envelop("sample", results(`{"analyte":"`+said+`","value":1,"unit":"mg/kg"}`))))
		if err != nil {
			t.Fatal(err)
		}
		if got := ev.Data.(*event.SampleData).Results[0].Analyte; got != want {
			t.Errorf("%s became %s", said, got)
		}
	}
}

var answerCases = []dataCase{
	{`{"answer":"acknowledge","rule":"copper","component":"transmission","by":"ines","why":"watching it"}`, ``},
	{`{"answer":"unshelve","rule":"copper"}`, ``},
	{`{"answer":"shelve","rule":"copper","until":"2031-03-20T08:05:00Z","why":"sample\nordered"}`, ``},
	{`{"answer":"out of service"}`, ``},
	{`{"answer":"in service","by":"ines","why":"spring"}`, ``},
	{`{"answer":"not mine","by":"tobias"}`, ``},
	{`{"answer":"not mine"}`, `data.by: missing`},
	{`{"answer":"not mine","by":"tobias","rule":"copper"}`, `data.rule: has no meaning in not mine; leave it out`},
	{`{"answer":"postpone","task":"fluid","until":"2031-01-03","why":"kit is late"}`, ``},
	{`{"answer":"postpone","task":"fluid","component":"a","byDistance":{"value":500,"unit":"mi"},"why":"kit is late"}`, ``},
	{`{"answer":"accept","task":"fluid","component":"a","by":"ines"}`, ``},
	{`{"answer":"accept","by":"ines"}`, `data.task: missing`},
	{`{"answer":"accept","task":"fluid"}`, `data.by: missing`},
	{`{"answer":"accept","rule":"data: meter going back","by":"ines"}`, ``},
	{`{"answer":"accept","rule":"data: meter going back"}`, `data.by: missing`},
	{`{"answer":"accept","rule":"data: meter going back","task":"fluid","by":"ines"}`, `data.task: has no meaning in accept; leave it out`},
	{`{"answer":"accept","task":"fluid","by":"ines","until":"2031-03-01"}`, `data.until: has no meaning in accept; leave it out`},
	{`{}`, `data.answer: ""; expected "acknowledge", "shelve", "unshelve", "out of service", "in service", "not mine", "postpone" or "accept"`},
	{`{"answer":"ok","rule":"copper"}`, `data.answer: "ok"; expected "acknowledge", "shelve", "unshelve", "out of service", "in service", "not mine", "postpone" or "accept"`},
	{`{"answer":"acknowledge"}`, `data.rule: missing`},
	{`{"answer":"acknowledge","rule":"copper","until":"2031-03-20T08:05:00Z"}`, `data.until: has no meaning in acknowledge; leave it out`},
	{`{"answer":"acknowledge","rule":"copper","task":"x"}`, `data.task: has no meaning in acknowledge; leave it out`},
	{`{"answer":"shelve","rule":"copper"}`, `data.until: missing; an alarm is shelved until an RFC 3339 time`},
	{`{"answer":"shelve","until":"2031-03-20T08:05:00Z"}`, `data.rule: missing`},
	{`{"answer":"shelve","rule":"copper","until":"2031-03-20"}`, `data.until: "2031-03-20" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
	{`{"answer":"shelve","rule":"copper","until":"2031-01-03T06:10:00Z"}`, `data.until: 2031-01-03T06:10:00Z is not later than the event's time`},
	{`{"answer":"out of service","component":"transmission"}`, `data.component: has no meaning in out of service; leave it out`},
	{`{"answer":"in service","rule":"a","task":"b"}`, `data.rule: has no meaning in in service; leave it out`},
	{`{"answer":"postpone","why":"x","until":"2031-03-01"}`, `data.task: missing`},
	{`{"answer":"postpone","task":"fluid","until":"2031-03-01"}`, `data.why: missing; give a reason for postponing the task`},
	{`{"answer":"postpone","task":"fluid","why":"x"}`, `data: a task is postponed either until a date or byDistance`},
	{`{"answer":"postpone","task":"fluid","why":"x","until":"2031-03-01","byDistance":{"value":1,"unit":"km"}}`, `data: a task is postponed either until a date or byDistance`},
	{`{"answer":"postpone","task":"fluid","why":"x","until":"2031-03-20T08:05:00Z"}`, `data.until: "2031-03-20T08:05:00Z" is not a date like 2031-02-10`},
	{`{"answer":"postpone","task":"fluid","why":"x","until":"2030-12-31"}`, `data.until: 2030-12-31 is before the event's time`},
	{`{"answer":"postpone","task":"fluid","why":"x","byDistance":{"value":10,"unit":"h"}}`, `data.byDistance.unit: "h" measures hours, a distance needs km, mi or m`},
	{`{"answer":"postpone","task":"fluid","why":"x","byDistance":{"value":0,"unit":"km"}}`, `data.byDistance.value: 0 postpones nothing`},
	{`{"answer":"postpone","task":"fluid","why":"x","rule":"y","until":"2031-03-01"}`, `data.rule: has no meaning in postpone; leave it out`},
}

func TestAnswer(t *testing.T) { checkReasons(t, "answer", answerCases) }

var voidCases = []dataCase{
	{`{"source":"/gateway/3","id":"r-0"}`, ``},
	{`{"source":"/gateway/4","id":"r-1"}`, ``},
	{`{"source":"/gateway/3","id":"r-1"}`, `data: a void cannot name itself`},
	{`{"id":"r-0"}`, `data.source: missing; name the source of the event to void`},
	{`{"source":"/gateway/3"}`, `data.id: missing; name the id of the event to void`},
	{`{"source":"/gateway/3","id":"r-0","why":"x"}`, `data.why: unknown field; expected "source" or "id"`},
}

func TestVoid(t *testing.T) { checkReasons(t, "void", voidCases) }

func TestInternal(t *testing.T) {
	hash := "sha256:" + strings.Repeat("0f", 32)
	for _, c := range []struct{ kind, data, want string }{
		{"tick", ``, ``},
		{"tick", `,"data":{}`, `data: a tick has none; leave it out`},
		{"book", `,"data":{"hash":"` + hash + `"}`, ``},
		{"book", `,"data":{"hash":"` + hash + `0"}`, `data.hash: "sha256:0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0…"; expected sha256: and 64 hex digits`},
		{"book", `,"data":{"hash":"` + hash + `","Book":{}}`, `data.Book: unknown field; expected "hash"`},
		{"turn", `,"data":{"digest":"morning","date":"2031-01-03"}`, ``},
		{"turn", `,"data":{"digest":"","date":"2031-01-03"}`, `data.digest: missing`},
		{"turn", `,"data":{"digest":"morning","date":"today"}`, `data.date: "today" is not a date like 2031-02-10`},
	} {
		_, err := Decode([]byte(`{"specversion":"1.0","type":"telltale.` + c.kind + `.v1","source":"/clock","id":"1","time":"2031-01-03T06:10:00Z"` + c.data + `}`))
		if got := text(err); got != c.want {
			t.Errorf("%s %s\n got %q\nwant %q", c.kind, c.data, got, c.want)
		}
	}
}
