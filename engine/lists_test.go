package engine_test

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/listing"
	"telltale/rules/dataalarm"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// TestListsAreWhatStands: for any history the lists, page by page, forward and back, are
// what the due list and the alarms are, in order, and their counters are what is counted;
// also once every record was stored and loaded again.
func TestListsAreWhatStands(t *testing.T) {
	book := load(t, quietRules)
	lines := map[listing.View]int{}
	rapid.Check(t, func(rt *rapid.T) {
		p := engine.NewPartition()
		p.Apply(bookEvent(book))
		events := drawFleet(rt)
		stop := rapid.IntRange(1, len(events)).Draw(rt, "stop")
		for i, ev := range events {
			p.Apply(ev)
			saidAfter(rt, p, ev, i)
			if i == stop || i == len(events)-1 {
				compareLists(rt, p, lines)
				p = again(rt, p)
				p.Unpack(math.MaxInt)
				compareLists(rt, p, lines)
			}
		}
	})
	for _, v := range listing.Views {
		if lines[v] == 0 {
			t.Errorf("no history has a line in %q: the comparison says nothing of it", v)
		}
	}
	t.Log(lines)
}

// TestListsOfRenamed: the lists follow a vehicle through its names, and through two records
// that become one.
func TestListsOfRenamed(t *testing.T) {
	book := orderBook(t)
	rapid.Check(t, func(rt *rapid.T) {
		_, many := drawRenamed(rt, book, rapid.Bool().Draw(rt, "early"))
		p := engine.NewPartition()
		p.Apply(bookEvent(book))
		for _, ev := range many {
			p.Apply(intake.Tick(ev.Recorded))
			p.Apply(ev)
		}
		compareLists(rt, p, map[listing.View]int{})
		p = again(rt, p)
		p.Unpack(math.MaxInt)
		compareLists(rt, p, map[listing.View]int{})
	})
}

// saidAfter has people say something now and then of what stands, and a vehicle change.
func saidAfter(rt *rapid.T, p *engine.Partition, ev event.Event, n int) {
	if ev.Kind == event.VehicleEvent || rapid.IntRange(0, 9).Draw(rt, "said") > 0 {
		return
	}
	now := ev.Time
	for _, at := range []time.Time{ev.Recorded, p.Now()} {
		if at.After(now) {
			now = at
		}
	}
	now = now.Add(time.Minute)
	lines := []string{
		`answer van-1 "out of service" by ines why "laid up"`, `answer van-1 "in service" by ines`,
		`answer van-2 "out of service" by ines why "laid up"`, `answer van-2 "in service" by ines`,
		`vehicle van-1 lorry meter odometer since 2030-03-01 component motor engine fluid oil capacity 6L tag depot=north`,
		`vehicle van-2 van meter odometer hours hours since 2030-08-01 component lift crane tag depot=north`,
	}
	for _, a := range p.Alarms() {
		lines = append(lines, `answer `+a.Vehicle+` acknowledge `+strconv.Quote(a.Rule)+` by ines`,
			`answer `+a.Vehicle+` shelve `+strconv.Quote(a.Rule)+` until `+now.AddDate(0, 0, 20).Format(time.RFC3339)+` by ines why "busy"`)
	}
	line := now.Format("2006-01-02T15:04 ") + rapid.SampledFrom(lines).Draw(rt, "what is said")
	one, err := intake.Short(line, fmt.Sprintf("said-%d", n), unit.System{Distance: "km", Volume: "L"})
	if err != nil {
		rt.Fatal(err)
	}
	p.Apply(one)
}

// compareLists asks the lists in several ways, and makes the same of all that stands.
func compareLists(rt *rapid.T, p *engine.Partition, seen map[listing.View]int) {
	tasks := slow(p, listing.Query{View: listing.Due, Aside: true})
	if got, want := places(tasks), placesDue(p.Due(due.Query{})); got != want {
		rt.Fatalf("only standing:\n%s\nonly due:\n%s", without(got, want), without(want, got))
	}
	compareVehicles(rt, p)
	for _, v := range listing.Views {
		q := listing.Query{View: v, Aside: rapid.Bool().Draw(rt, "aside"), Limit: rapid.IntRange(1, 4).Draw(rt, "limit")}
		compareList(rt, p, q)
		seen[v] += len(slow(p, q))
		q.Stage = rapid.SampledFrom([][]alarm.Stage{nil, {alarm.Overdue}, {alarm.Due, alarm.Soon}, {alarm.Advisory, alarm.Caution}}).Draw(rt, "stage")
		q.Of = rapid.SampledFrom([]string{"", "", listing.OfTasks, listing.OfRules, listing.OfData}).Draw(rt, "of")
		q.Tag = rapid.SampledFrom([]string{"", "depot=north", "depot=", "road=hills"}).Draw(rt, "tag")
		q.Q = rapid.SampledFrom([]string{"", "", "van 1", "OIL", "north Van-2", "nobody"}).Draw(rt, "q")
		q.Kind = rapid.SampledFrom([]string{"", "", "lorry"}).Draw(rt, "kind")
		q.Statutory = rapid.IntRange(0, 3).Draw(rt, "by law") == 0
		compareList(rt, p, q)
	}
}

// compareVehicles asks for the vehicles in some way, and makes the same of the register.
func compareVehicles(rt *rapid.T, p *engine.Partition) {
	q := listing.VehicleQuery{
		Q:      rapid.SampledFrom([]string{"", "", "VAN 1", "north", "nobody"}).Draw(rt, "search"),
		Tag:    rapid.SampledFrom([]string{"", "", "depot=north", "depot="}).Draw(rt, "with tag"),
		Kind:   rapid.SampledFrom([]string{"", "", "lorry"}).Draw(rt, "of kind"),
		State:  rapid.SampledFrom([]string{"", "", listing.InService, listing.OutOfService}).Draw(rt, "state"),
		Silent: rapid.SampledFrom([]int{0, 0, 7, 40}).Draw(rt, "silent"),
		Limit:  rapid.IntRange(1, 2).Draw(rt, "vehicles"),
	}
	var want []string
	for _, v := range p.Register() {
		if slowVehicle(p, q, v) {
			want = append(want, v.Vehicle)
		}
	}
	var got []string
	for more := true; more; {
		page, refs := listing.MergeVehicles(q, []listing.VehiclePart{p.AskedBy(p.By).VehiclePart(q)})
		if page.Total != len(want) {
			rt.Fatalf("%+v counts %d, want %q", q, page.Total, want)
		}
		for _, v := range p.AskedBy(p.By).VehicleLines(refs) {
			got = append(got, v.Vehicle)
			compareVehicle(rt, p, &v)
		}
		more, q.After = page.Next != "", page.Next
	}
	if !slices.Equal(got, want) {
		rt.Fatalf("%+v gives %q, want %q", q, got, want)
	}
}

func slowVehicle(p *engine.Partition, q listing.VehicleQuery, v engine.RegisteredVehicle) bool {
	name, value, _ := strings.Cut(q.Tag, "=")
	l := slowLine{Listed: alarm.Listed{Tags: v.Tags}}
	l.Vehicle, l.First = v.Vehicle, v.First
	state, home := listing.InService, cmp.Or(v.First, v.Vehicle)
	if p.Would(home, nil).Out {
		state = listing.OutOfService
	}
	return slowHolds(p, q.Q, l) && (q.Tag == "" || v.Tags[name] == value) && (q.Kind == "" || v.Kind == q.Kind) && (q.State == "" || state == q.State) &&
		(q.Silent == 0 || state == listing.InService && lastRead(p, home) < p.Now().AddDate(0, 0, -q.Silent).Unix())
}

// lastRead is the latest entry of the history that tells a meter.
func lastRead(p *engine.Partition, vehicle string) (last int64) {
	for _, e := range p.History(vehicle) {
		if len(e.Meters) > 0 && !e.TakenOut {
			last = max(last, e.Time.Unix())
		}
	}
	return last
}

// compareVehicle holds a line of the register to the lists of the one vehicle.
func compareVehicle(rt *rapid.T, p *engine.Partition, v *listing.Vehicle) {
	var worst alarm.Stage = alarm.Normal
	rank := func(s alarm.Stage) int {
		return max(slices.Index(alarm.TaskStages[:], s), slices.Index(alarm.RuleStages[:], s))
	}
	home := cmp.Or(v.First, v.Vehicle)
	for _, a := range p.AlarmsOf(home) {
		if rank(a.To) > rank(worst) {
			worst = a.To
		}
	}
	if (v.Worst == nil) != (worst == alarm.Normal) || v.Worst != nil && rank(v.Worst.To) != rank(worst) {
		rt.Fatalf("the worst of %s is %+v, want %s", v.Vehicle, v.Worst, worst)
	}
	list := p.Due(due.Query{Vehicle: home, Ahead: 100 * 366})
	if (v.Next == nil) != (len(list) == 0) || v.Next != nil && !reflect.DeepEqual(*v.Next, list[0]) {
		rt.Fatalf("next of %s is %+v, want the first of %+v", v.Vehicle, v.Next, list)
	}
}

func compareList(rt *rapid.T, p *engine.Partition, q listing.Query) {
	want := slow(p, q)
	var keys []string
	for _, l := range want {
		keys = append(keys, l.Key)
	}
	count := slowCount(p, q)
	forward, back := walk(rt, p, q, count, false), walk(rt, p, q, count, true)
	if !slices.Equal(forward, keys) || !slices.Equal(back, keys) {
		rt.Fatalf("%+v gives\n%s\nand back\n%s\nwant\n%s", q, strings.Join(forward, "\n"), strings.Join(back, "\n"), strings.Join(keys, "\n"))
	}
}

// walk goes through the pages of a list to its end, and back from there.
func walk(rt *rapid.T, p *engine.Partition, q listing.Query, count listing.Count, back bool) (keys []string) {
	if back {
		q.Before = "normal..9999-12-31.~.~.~"
	}
	if err := q.Check(); err != nil {
		rt.Fatal(err)
	}
	for {
		part := partOf(p, q)
		page, refs := listing.Merge(q, []listing.Part{part})
		if !reflect.DeepEqual(page.Count, count) {
			rt.Fatalf("%+v counts %+v, want %+v", q, page.Count, count)
		}
		var on []string
		for _, l := range p.AskedBy(p.By).Lines(q.View, refs) {
			on = append(on, l.Key)
		}
		if len(on) != len(refs) {
			rt.Fatalf("%+v: %d lines of %v", q, len(on), refs)
		}
		if back {
			keys = append(on, keys...)
		} else {
			keys = append(keys, on...)
		}
		next := page.Next
		if back {
			next = page.Back
		}
		if next == "" {
			return keys
		}
		q.After, q.Before = next, ""
		if back {
			q.After, q.Before = "", next
		}
	}
}

func partOf(p *engine.Partition, q listing.Query) listing.Part {
	if q.View != listing.Postponed {
		return p.AskedBy(p.By).Part(q)
	}
	var all []listing.Reckoned
	for _, home := range p.AskedBy(p.By).PutOff() {
		all = append(all, p.Waiting(home)...)
	}
	return listing.PartOf(q, all)
}

// slowLine is a line by what the partition lists of itself.
type slowLine struct {
	alarm.Listed
	kind string
	at   string
	Key  string
}

// slow makes a list of all that stands.
func slow(p *engine.Partition, q listing.Query) []slowLine {
	return slices.DeleteFunc(slowRest(p, q), func(l slowLine) bool { return !wants(q, l, true, true) })
}

func wants(q listing.Query, l slowLine, stage, tag bool) bool {
	name, value, _ := strings.Cut(q.Tag, "=")
	return (!stage || len(q.Stage) == 0 || slices.Contains(q.Stage, l.To)) && (!tag || q.Tag == "" || l.Tags[name] == value)
}

func slowCount(p *engine.Partition, q listing.Query) listing.Count {
	c := listing.Count{Stages: map[alarm.Stage]int{}}
	c.Tags = map[string]int{}
	for _, l := range slowRest(p, q) {
		if wants(q, l, true, true) {
			c.Total++
		}
		if wants(q, l, false, true) {
			c.Stages[l.To]++
		}
		if wants(q, l, true, false) {
			for tag, value := range l.Tags {
				c.Tags[tag+"="+value]++
			}
		}
	}
	return c
}

// slowRest are the lines by all that is asked for but stage and tag.
func slowRest(p *engine.Partition, q listing.Query) (out []slowLine) {
	for _, l := range slowAll(p, q) {
		data := slices.Contains(dataalarm.Names, l.Rule)
		of := q.Of == "" || q.Of == listing.OfTasks && l.Task || q.Of == listing.OfData && data || q.Of == listing.OfRules && !l.Task && !data
		if of && (q.Kind == "" || l.kind == q.Kind) && (!q.Statutory || l.Statutory) && slowHolds(p, q.Q, l) {
			out = append(out, l)
		}
	}
	slices.SortFunc(out, func(a, b slowLine) int {
		law := func(l slowLine) int { return map[bool]int{true: 0, false: 1}[l.Statutory] }
		stage := func(l slowLine) int {
			return -max(slices.Index(alarm.TaskStages[:], l.To), slices.Index(alarm.RuleStages[:], l.To))
		}
		return cmp.Or(cmp.Compare(stage(a), stage(b)), cmp.Compare(law(a), law(b)), strings.Compare(a.at, b.at),
			strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Rule, b.Rule), strings.Compare(a.Component, b.Component))
	})
	for i := range out {
		l := &out[i]
		law := map[bool]string{true: "s"}[l.Statutory]
		name := strings.NewReplacer(" ", "+", ":", "%3A").Replace
		l.Key = strings.Join([]string{string(l.To), law, strings.TrimSuffix(l.at, "T00:00:00Z"), l.Vehicle, name(l.Rule), l.Component}, ".")
	}
	return out
}

func slowHolds(p *engine.Partition, q string, l slowLine) bool {
	reg := p.Registered(l.Home())
	texts := append(reg.Names(l.Vehicle), l.First, reg.Kind, l.Title, l.Rule, l.Component)
	for tag, value := range l.Tags {
		texts = append(texts, tag+"="+value)
	}
	for _, word := range strings.Fields(q) {
		if !slices.ContainsFunc(texts, func(t string) bool { return strings.Contains(english.Folded(t), english.Folded(word)) }) {
			return false
		}
	}
	return true
}

// slowAll are all lines of a view.
func slowAll(p *engine.Partition, q listing.Query) (out []slowLine) {
	if q.View == listing.Postponed {
		for _, v := range p.Vehicles() {
			out = append(out, slowPutOff(p, v)...)
		}
		return out
	}
	for _, a := range p.Alarms() {
		l := slowLine{Listed: a, kind: p.Registered(a.Home()).Kind, at: a.Since.Format(time.RFC3339)}
		if a.Task && a.To != alarm.Normal {
			l.at = moment(a.Due.Date, a.Due.Likely)
		}
		own := listing.Standing
		if a.Task {
			own = listing.Due
		}
		in := map[alarm.Standing][]listing.View{alarm.OutOfService: {listing.Out}, alarm.Returned: {listing.Returned},
			alarm.Shelved: {own, listing.Aside}, alarm.Acknowledged: {own}, alarm.Unacknowledged: {own}}[a.Standing]
		if slices.Contains(in, q.View) && (a.Standing != alarm.Shelved || q.Aside || q.View == listing.Aside) {
			out = append(out, l)
		}
	}
	return out
}

func slowPutOff(p *engine.Partition, vehicle string) (out []slowLine) {
	reg, would := p.Registered(vehicle), p.Would(vehicle, nil)
	if reg == nil || reg.Retired || would.Out {
		return nil
	}
	for _, y := range would.Tasks {
		if y.Due.Postponed == "" {
			continue
		}
		l := slowLine{Listed: alarm.Listed{Name: y.Name, Tags: reg.Tags}, kind: reg.Kind}
		l.Vehicle, l.First, l.Rule, l.Component, l.Title, l.To, l.Task = y.Vehicle, vehicle, y.Rule, y.Component, y.Title, y.Due.Stage, true
		var dates []string
		if y.Due.Stage == alarm.Normal || y.Due.Stage == alarm.Soon { // else it is past
			dates = append(dates, y.Due.Likely)
		}
		for _, limit := range y.Due.Limits {
			dates = append(dates, limit.DueDate)
		}
		l.at, l.Statutory = moment(dates...), p.Book().Task(y.Rule) != nil && p.Book().Task(y.Rule).Statutory
		out = append(out, l)
	}
	return out
}

func moment(dates ...string) string {
	dates = slices.DeleteFunc(dates, func(d string) bool { return d == "" })
	if len(dates) == 0 {
		return ""
	}
	return slices.Min(dates) + "T00:00:00Z"
}

func places(list []slowLine) string {
	all := map[string]bool{}
	for _, l := range list {
		all[fmt.Sprintf("%s %s %s %s %v", l.To, l.Vehicle, l.Rule, l.Component, l.Standing == alarm.Shelved)] = true
	}
	return strings.Join(slices.Sorted(maps.Keys(all)), "\n")
}

func placesDue(list []due.Item) string {
	all := map[string]bool{}
	for _, l := range list {
		all[fmt.Sprintf("%s %s %s %s %v", l.Stage, l.Vehicle, l.Task, l.Component, l.Shelved)] = true
	}
	return strings.Join(slices.Sorted(maps.Keys(all)), "\n")
}
