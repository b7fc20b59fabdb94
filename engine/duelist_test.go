package engine_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/intake"
)

// dueLines are the lines of a due list in few words.
func dueLines(list []due.Item) string {
	var b strings.Builder
	for _, d := range list {
		fmt.Fprintf(&b, "%s %s %s %s\n", d.Stage, d.Vehicle, d.Task, d.Limit)
	}
	return b.String()
}

const dueRules = `
book: 1
units: {distance: km, volume: L}
tasks:
  engine oil: {every: {distance: 10000 km}, early: {distance: 1000 km}, tolerance: 5%, cautions: [hot fluid]}
  wash: {every: {time: 1 months}, early: {time: 7 days}, unknown history: from in-service date, cautions: [wet floor]}
  annual test: {every: {time: 12 months}, early: {time: 30 days}, unknown history: from in-service date, statutory: yes, cautions: [raised vehicle]}
`

// TestDueAsOf: the list of a depot, and that of a day gone by or to come.
func TestDueAsOf(t *testing.T) {
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, dueRules)))
	p.Apply(intake.Tick(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)))
	for i, line := range []string{
		`2031-01-02 vehicle van-1 van meter odometer tag depot=north since 2030-04-20`,
		`2031-01-02 vehicle van-2 van meter odometer tag depot=south since 2030-12-20`,
		`2031-01-03 service van-1 "engine oil" odometer 40000`,
		`2031-01-31 reading van-1 odometer 43000`,
		`2031-02-28 reading van-1 odometer 46000`,
		`2031-03-20 service van-1 "wash"`,
		`2031-03-25 reading van-1 odometer 49100`,
		`2031-04-02 service van-1 "engine oil" odometer 49900`,
		`2031-04-03 answer van-2 "out of service" by ines why "laid up"`,
		`2031-04-08 answer van-2 "in service" by ines`,
		`2031-04-10 answer van-2 "out of service" by ines why "laid up again"`,
	} {
		for _, o := range p.Apply(short(t, fmt.Sprint(i), line)) {
			if o.Refused != nil {
				t.Fatal(o.Refused.Refused)
			}
		}
	}
	p.Apply(intake.Tick(time.Date(2031, 4, 14, 0, 0, 0, 0, time.UTC)))
	const van2 = "overdue van-2 wash time\ndue van-2 engine oil no history\n"
	for _, c := range []struct {
		name string
		q    due.Query
		want string
	}{
		{"a depot today", due.Query{Tag: "depot=north"},
			"soon van-1 annual test time\nsoon van-1 wash time\n"},
		{"nobody's depot", due.Query{Tag: "depot=west"}, ""},
		{"the day before the oil was changed: what the law asks for first", due.Query{Tag: "depot=north", On: "2031-04-01"},
			"soon van-1 annual test time\nsoon van-1 engine oil distance\n"},
		{"before anything was read", due.Query{Vehicle: "van-1", On: "2031-01-02"},
			"overdue van-1 wash time\ndue van-1 engine oil no history\n"},
		{"in May", due.Query{Vehicle: "van-1", On: "2031-05-02"},
			"overdue van-1 annual test time\noverdue van-1 wash time\n"},
		{"while it was out of service", due.Query{Vehicle: "van-2", On: "2031-04-05"}, ""},
		{"while it was back", due.Query{Vehicle: "van-2", On: "2031-04-08"}, van2},
		{"before it was laid up", due.Query{Vehicle: "van-2", On: "2031-04-02"}, van2},
		{"out of service now", due.Query{Vehicle: "van-2"}, ""},
		{"and then", due.Query{Vehicle: "van-2", On: "2031-05-02"}, ""},
		{"before it was registered", due.Query{On: "2030-12-31"}, ""},
	} {
		if got := dueLines(p.Due(c.q)); got != c.want {
			t.Errorf("%s:\n%swant:\n%s", c.name, got, c.want)
		}
	}
}
