package notify

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"telltale/engine/intake"
	"telltale/notify/people"
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
	d, err := people.Parse("people.yaml", []byte(withPrograms))
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
