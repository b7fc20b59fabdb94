package notify

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"telltale/engine/intake"
	"telltale/rules"
)

const withPrograms = `people:
  ines: {name: Ines, mail: ines@larkfell.example}
  tom: {mail: tom@larkfell.example}
  fleet: {webhook: {url: "https://fleet.example/hook", secret file: hook.secret}, nats: fleet.alarms, file: told}
groups:
  workshop: [ines, tom]
tell:
  programs: {who: [fleet], by: [webhook, file]}
  people: {who: [workshop], stages: [warning]}
`

func TestWays(t *testing.T) {
	d, err := Parse("people.yaml", []byte(withPrograms))
	if err != nil {
		t.Fatal(err)
	}
	nasty := coolantRaised()
	nasty.Message = "line\r\nbreak <script>alert(1)</script> \u202e =cmd()"
	var got []string
	var bodies []string
	for _, m := range Tell(d, register, cause("c-1"), outputs(nasty)) {
		got = append(got, m.Person+" "+m.Way+" "+m.To)
		if m.Data != nil {
			bodies = append(bodies, string(m.Data))
		}
	}
	want := []string{"fleet webhook https://fleet.example/hook", "fleet file told", "ines mail ines@larkfell.example", "tom mail tom@larkfell.example"}
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("got %q", got)
	}
	for _, body := range bodies {
		if strings.ContainsAny(body, "\r\n<>") {
			t.Errorf("a break or markup in %s", body)
		}
	}
	var ev struct {
		intake.CloudEvent
		Data notice `json:"data"`
	}
	if err := json.Unmarshal([]byte(bodies[0]), &ev); err != nil || ev.SpecVersion != "1.0" || ev.Subject != "bus-07" ||
		ev.Data.Transitions[0].Message != nasty.Message || strings.Contains(ev.ID, ".") {
		t.Errorf("%v: got %+v", err, ev)
	}
}

func TestWaysFaults(t *testing.T) {
	_, err := Parse("people.yaml", []byte(`people:
  a: {webhook: {url: "file:///etc/passwd"}}
  b: {nats: "telltale.in.x"}
  c: {mail: c@larkfell.example, quiet: "21 to 7"}
groups: {a: [c], d: []}
tell:
  e: {who: [c], when: digest, remind after: 2 days}
  f: {who: [c], stand-in: [c]}
  g: {who: [c], remind after: 1 min}
`))
	want := []string{
		`webhook url "file:///etc/passwd" cannot be called`, `webhook has no secret file to sign with`,
		`nats "telltale.in.x" is not a subject of your own`, `quiet "21 to 7" is not a span of the day`,
		`group "a" has the name of someone in people`, `group "d" must name people`,
		`reminders and stand-ins are for what is told at once`, `stand-in and stand-in after go together`, `remind after must be from 1 h to 366 days`,
	}
	for _, w := range want {
		if err == nil || !strings.Contains(err.Error(), w) {
			t.Errorf("%q is not said in:\n%v", w, err)
		}
	}
}

func TestUnheard(t *testing.T) {
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(`book: 1
units: {distance: km, volume: L}
tasks:
  inspection: {title: Inspection, every: {time: 12 months}, statutory: yes}
  fluid: {title: Fluid, where: component.kind == "automatic transmission", every: {distance: 45000 km}}
  other: {title: Other, where: vehicle.kind == "gritter", every: {time: 12 months}}
`)}})
	if err != nil {
		t.Fatal(err)
	}
	d, err := Parse("people.yaml", []byte(`people:
  ines: {mail: ines@larkfell.example, digest: "0 7 * * *"}
  tom: {mail: tom@larkfell.example}
tell:
  law: {who: [ines], where: statutory}
  list: {who: [ines], stages: [overdue], when: digest}
  no list: {who: [tom], when: digest}
`))
	if err != nil {
		t.Fatal(err)
	}
	gaps, deaf := Unheard(d, []Vehicle{register("bus-07")}, book)
	if want := []Gap{{"bus-07", "transmission", "fluid", "due"}}; !reflect.DeepEqual(gaps, want) {
		t.Errorf("got %+v, want %+v", gaps, want)
	}
	// A list that is never sent tells nothing.
	if want := []string{"tom"}; !reflect.DeepEqual(deaf, want) {
		t.Errorf("hears of nothing: %q, want %q", deaf, want)
	}
}
