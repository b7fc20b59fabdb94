package intake

import (
	"bytes"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"telltale/engine/event"
)

var exampleBlock = regexp.MustCompile("(?s)```json\n(.*?)```")

func readme(t testing.TB) string {
	b, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func examples(t testing.TB) []string {
	var out []string
	for _, m := range exampleBlock.FindAllStringSubmatch(readme(t), -1) {
		out = append(out, m[1])
	}
	return out
}

// Every example of the reference is decoded, every kind and every answer has one,
// and each encodes to an event that is equal.
func TestExamples(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range examples(t) {
		ev := mustDecode(t, s)
		seen[ev.Kind.String()] = true
		if a, ok := ev.Data.(*event.AnswerData); ok {
			seen[a.Answer] = true
		}
		b, err := Encode(ev)
		if err != nil || bytes.ContainsRune(b, '\n') {
			t.Fatalf("%s: %v", b, err)
		}
		equal(t, mustDecode(t, string(b)), ev)
	}
	for k := event.VehicleEvent; k <= event.TurnEvent; k++ {
		if !seen[k.String()] {
			t.Errorf("no example of a %s", k)
		}
	}
	for _, a := range []string{"acknowledge", "shelve", "unshelve", "out of service", "in service", "postpone"} {
		if !seen[a] {
			t.Errorf("no example of the answer %q", a)
		}
	}
}

// Every field that is read is named in the reference.
func TestReferenceNamesFields(t *testing.T) {
	text := readme(t)
	for _, d := range []any{
		event.VehicleData{}, event.MeterDef{}, event.ComponentDef{}, event.ReadingData{}, event.MeterReplacedData{},
		event.ServiceData{}, event.FluidData{}, event.SampleData{}, event.ResultData{}, event.AnswerData{},
		event.VoidData{}, event.BookData{}, event.TurnData{},
	} {
		for _, name := range fieldNames(reflect.TypeOf(d)) {
			if name = strings.Trim(name, `"`); !strings.Contains(text, "`"+name+"`") {
				t.Errorf("%T has %s, of which README.md says nothing", d, name)
			}
		}
	}
}

// What is written is in the order of the reference, to the byte.
func TestEncode(t *testing.T) {
	for _, s := range []string{
		reading(`{"meter":"odometer","value":81234.5,"unit":"km"}`),
		`{"specversion":"1.0","type":"telltale.sample.v1","source":"/laboratory","id":"s-1","subject":"van 3","time":"2031-02-10T14:00:00Z","recordedtime":"2031-02-19T09:30:00.5Z","data":{"number":"L-1042","revision":1,"component":"transmission","drawn":"2031-02-10","taken":"before","meters":{"b":{"value":400,"unit":"km"},"c":{"value":1,"unit":"h"}},"fluidAge":{"value":62000,"unit":"km"},"laboratory":"<valley> & co","method":"ICP","point":"drain","results":[{"analyte":"Cu","value":0,"unit":"mg/kg"},{"analyte":"Pb","below":1,"unit":"mg/kg"}]}}`,
		`{"specversion":"1.0","type":"telltale.tick.v1","source":"/clock","id":"2031-02-10T14:00:00Z","time":"2031-02-10T14:00:00Z"}`,
	} {
		got, err := Encode(mustDecode(t, s))
		if err != nil || string(got) != s {
			t.Errorf("%v\n got %s\nwant %s", err, got, s)
		}
	}
}

func TestEncodeRefuses(t *testing.T) {
	ev := mustDecode(t, reading(`{"meter":"odometer","value":1,"unit":"km"}`))
	ev.Data = func() {}
	_, err := Encode(ev)
	if want := `encoding event "r-1" of "/gateway/3": json: unsupported type: func()`; text(err) != want {
		t.Errorf("got %q, want %q", text(err), want)
	}
}
