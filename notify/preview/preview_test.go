package preview

import (
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/notify"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules"
)

// A task falls due over a year of which a file holds three readings: it stands in the
// list of the morning, which comes before what is reported later that day, and is told
// at once when it is overdue.
func TestRun(t *testing.T) {
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(`book: 1
units: {distance: km, volume: L}
tasks:
  first aid box: {title: First aid box, every: {time: 12 months}, unknown history: from in-service date, cautions: none}
`)}})
	if err != nil {
		t.Fatal(err)
	}
	dir, err := people.Parse("people.yaml", []byte(`people:
  ines: {name: Ines, mail: ines@larkfell.example}
  program: {file: told}
  workshop: {mail: workshop@larkfell.example, digest: "0 6 1 11 *"}
tell:
  late: {who: [ines, program], stages: [overdue]}
  list: {who: [workshop], when: digest}
`))
	if err != nil {
		t.Fatal(err)
	}
	register, err := intake.Register("vehicles.yaml", []byte("vehicles: {bus-07: {name: Bus 7, kind: minibus, in service: 2030-11-01, meters: {odometer: distance}}}\n"), time.Unix(0, 0).UTC())
	if err != nil {
		t.Fatal(err)
	}
	const reading = `{"specversion":"1.0","type":"telltale.reading.v1","source":"/g","id":"ID","subject":"bus-07","time":"TIMET07:10:00Z","data":{"meter":"odometer","value":1,"unit":"km"}}` + "\n"
	var events strings.Builder
	for _, day := range []string{"2031-01-03", "2031-10-30", "2031-11-01"} {
		events.WriteString(strings.NewReplacer("ID", day, "TIME", day).Replace(reading))
	}
	all, err := Run(t.Context(), strings.NewReader(events.String()), Config{
		File: replay.File{Register: register, Until: time.Date(2031, 12, 31, 0, 0, 0, 0, time.UTC)}, Book: book, People: dir,
		Compose: func(m notify.Message) (string, []byte, error) { return "<" + m.Key + ">", []byte(m.Text), nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, m := range all {
		got = append(got, m.Time.Format("01-02 15:04 ")+m.Person+" "+m.Way+": "+m.Subject)
		if (m.Way == people.Mail) != strings.HasPrefix(m.HTML, "<!doctype html>") || len(m.Raw) == 0 {
			t.Errorf("%s has the page %q and %d bytes", m.Key, m.HTML, len(m.Raw))
		}
	}
	want := []string{"11-01 00:00 workshop mail: Due: Bus 7, First aid box (list of 1 Nov 2031)", "11-02 00:00 ines mail: Overdue: Bus 7, First aid box", "11-02 00:00 program file: Overdue: Bus 7, First aid box"}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s", strings.Join(got, "\n"))
	}
}

// A page of its own carries its pictures.
func TestAlone(t *testing.T) {
	m := notify.Message{HTML: `<img src="cid:a@telltale">`, Charts: []page.Picture{{ID: "a@telltale", PNG: []byte("png")}}}
	if got, want := alone(m), `<img src="data:image/png;base64,cG5n">`; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
