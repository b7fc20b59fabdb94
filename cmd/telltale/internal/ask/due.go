package ask

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/stream/service"
	"telltale/engine/why"
	"telltale/notify/cells"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

func dueCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var q due.Query
	var why, stages string
	var asCSV bool
	var paper paper
	cmd := &cobra.Command{
		Use:   "due",
		Short: "List what is overdue, due or due soon, most urgent first",
		Example: `  telltale due --tag depot=north --days 14
  telltale due --stage overdue,due
  telltale due --dir fleet --for ines
  telltale due --dir fleet --html list.html --for ines
  telltale due --on 2031-07-01 --csv
  telltale due --why bus-07`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			only, err := stagesOf(stages, dueStages)
			if err == nil {
				err = checkDue(q, asCSV, c.JSON, paper.wanted())
			}
			who, fault := paper.who(s, c.Dir)
			if err = cmp.Or(err, fault); err != nil {
				return err
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				if why != "" {
					return dueWhy(ctx, nc, s, &c, why)
				}
				return dueList{q, only, paper, who, asCSV}.show(ctx, nc, s, &c)
			})
		},
	}
	c.Flags(cmd, s)
	f := cmd.Flags()
	f.StringVar(&q.Vehicle, "vehicle", "", "only this vehicle")
	f.StringVar(&q.Tag, "tag", "", "only vehicles with this tag, such as depot=north")
	f.IntVar(&q.Ahead, "days", 0, "also list what is likely to come due within this many days")
	f.StringVar(&q.On, "on", "", "the list for this date (YYYY-MM-DD), past or future")
	f.BoolVar(&asCSV, "csv", false, "as CSV with a heading")
	f.StringVar(&stages, "stage", "", "only these stages: overdue, due, soon, later")
	f.StringVar(&paper.file, "html", "", "write the list into this file, as a page to print and fill in (- is the standard output)")
	f.StringVar(&paper.reader, "for", "", "in the units, dates and spelling of this person in people.yaml; needs --dir")
	f.StringVar(&why, "why", "", "explain each due date and meter value of this vehicle")
	return cmd
}

// dueList is what is asked of the list, and how it is shown.
type dueList struct {
	query due.Query
	only  onlyStages
	paper paper
	who   *people.Person // for whom; nil for whoever asks
	asCSV bool
}

func (l dueList) show(ctx context.Context, nc *nats.Conn, s cli.Env, c *cli.Client) error {
	units := c.Units()
	if l.who != nil {
		units = append(units, l.who.Units().Names()...)
	}
	list, err := listOf(ctx, nc, service.Due, service.Question{Vehicle: l.query.Vehicle, Ahead: l.query.Ahead, Tag: l.query.Tag, On: l.query.On, Units: units})
	if err == nil && len(list) == 0 {
		err = nothingDue(ctx, nc, l.query.Tag)
	}
	list = slices.DeleteFunc(list, func(d due.Item) bool { return !l.only.has(d.Stage) })
	if l.paper.wanted() && (err == nil || cli.Incomplete(err) != nil) {
		return errors.Join(l.paper.write(ctx, s, nc, l.who, l.query, l.only, list), cli.Lacking(err))
	}
	if l.asCSV && (err == nil || cli.Incomplete(err) != nil) {
		return errors.Join(dueCSV(s.Out, list), cli.Lacking(err))
	}
	empty := "nothing is due"
	if len(list) == 0 && err == nil && l.query.Vehicle != "" {
		empty = nothingDueOn(ctx, nc, l.query.Vehicle)
	}
	if err := cli.Listing(s, c.JSON, list, err, empty, DueLine); err != nil || c.JSON {
		return err
	}
	_, err = io.WriteString(s.Out, readyLine(list)+rangeLine(list))
	return err
}

func checkDue(q due.Query, forms ...bool) error {
	if _, err := interval.ParseDate(q.On); q.On != "" && err != nil {
		return fmt.Errorf("--on %q is not a date like 2031-07-01", q.On)
	}
	if q.Tag != "" && !strings.Contains(q.Tag, "=") {
		return fmt.Errorf("--tag %q is not a tag like depot=north", q.Tag)
	}
	n := 0
	for _, on := range forms {
		if on {
			n++
		}
	}
	if n > 1 {
		return errors.New("--json, --csv and a list to read (--html, --for) exclude one another: choose one")
	}
	return nil
}

// DueLine is a line of the due list: how urgent, which vehicle, what, why.
func DueLine(d due.Item) string {
	what := d.Title
	if d.Component != "" {
		what += " (" + d.Component + ")"
	}
	if english.Folded(d.Title) != english.Folded(d.Task) {
		what += " [" + d.Task + "]" // the name by which the work is entered
	}
	if d.Statutory {
		what += ", required by law"
	}
	line := fmt.Sprintf("%-8s %-10s %s\n%20s%s", listStage(d.Stage), event.Label(d.Name, d.Plate), what, "", d.Why)
	switch {
	case strings.HasPrefix(d.LastDone, "counted"), d.Limit == alarm.Reported && d.LastDone == "not repaired yet":
		line += fmt.Sprintf("\n%20s%s", "", d.LastDone)
	case d.LastDone == alarm.NoHistory && d.Limit != d.LastDone: // why does not say it
		line += fmt.Sprintf("\n%20sno record of when it was last done", "")
	case d.LastDone != "" && d.LastDone != alarm.NoHistory:
		line += fmt.Sprintf("\n%20slast done %s", "", d.LastDone)
	}
	reads := readsOf(&d)
	if n := needs(d.Needs, reads.Volume); n != "" {
		line += fmt.Sprintf("\n%20shave ready: %s", "", n)
	}
	if d.Figures != nil {
		line += fmt.Sprintf("\n%20s%s", "", d.Figures.Text(func(litres float64) string { return english.Volume(litres, reads.Volume) }))
	}
	if len(d.Cautions) > 0 {
		line += fmt.Sprintf("\n%20ssafety: %s", "", strings.Join(d.Cautions, ", "))
	}
	return line
}

// listStage is the word for a stage; what a list reaches ahead to is at none yet.
func listStage(stage alarm.Stage) string {
	if stage == alarm.Normal {
		return "later"
	}
	return string(stage)
}

// readsOf are the units in which people read of the line's vehicle.
func readsOf(d *due.Item) unit.System {
	s, _ := unit.SystemOf(d.Reads) // of a view
	return s.Or(unit.Metric)
}

// needs is what to have ready, fluids in the unit of volume.
func needs(list []due.Need, volume string) string {
	var out []string
	for _, n := range list {
		switch {
		case n.Fluid != "" && n.Volume > 0:
			out = append(out, english.Volume(n.Volume, volume)+" "+n.Fluid)
		case n.Fluid != "":
			out = append(out, n.Fluid)
		case n.Count > 1:
			out = append(out, fmt.Sprintf("%d × %s", n.Count, n.Part))
		default:
			out = append(out, n.Part)
		}
	}
	return strings.Join(out, ", ")
}

// readyLine sums what to have ready over the list; empty where
// nothing is needed, or one line says it all.
func readyLine(list []due.Item) string {
	type what struct{ fluid, part string }
	sum := map[what]due.Need{}
	for _, d := range list {
		for _, n := range d.Needs {
			k := what{n.Fluid, n.Part}
			all := sum[k]
			sum[k] = due.Need{Fluid: n.Fluid, Part: n.Part, Volume: all.Volume + n.Volume, Count: all.Count + max(n.Count, 1)}
		}
	}
	if len(sum) == 0 || len(list) < 2 {
		return ""
	}
	keys := slices.SortedFunc(maps.Keys(sum), func(a, b what) int {
		return cmp.Or(strings.Compare(a.part, b.part), strings.Compare(a.fluid, b.fluid)) // fluids first
	})
	var all []due.Need
	for _, k := range keys {
		all = append(all, sum[k])
	}
	return "have ready for all of it: " + needs(all, common(list).Volume) + "\n"
}

// common are the units in which people read of all the lines' vehicles; of a kind that they
// read in several the metric one.
func common(list []due.Item) unit.System {
	var all unit.System
	for i := range list {
		s := readsOf(&list[i])
		if i == 0 {
			all = s
		}
		if s.Distance != all.Distance {
			all.Distance = ""
		}
		if s.Volume != all.Volume {
			all.Volume = ""
		}
	}
	return all.Or(unit.Metric)
}

// rangeLine says how often dates like those of the list came within their ranges, each
// kind of meter by itself; empty while too few have come.
func rangeLine(list []due.Item) string {
	var all []string
	for _, d := range list {
		if d.Range != "" && !slices.Contains(all, d.Range) {
			all = append(all, d.Range)
		}
	}
	slices.Sort(all)
	out := ""
	for _, line := range all {
		out += "likely dates: " + line + "\n"
	}
	return out
}

// dueCSV writes the list as RFC 4180 has it, with no cell that begins as a formula does;
// distances in the unit in which people read of the vehicle, running time in h. The
// headings name the units that occur.
func dueCSV(w io.Writer, list []due.Item) error {
	var rows [][]string
	var units []string
	for _, d := range list {
		reads := readsOf(&d)
		u := map[string]string{"m": reads.Distance, "s": "h"}[d.Unit]
		if u != "" && !slices.Contains(units, u) {
			units = append(units, u)
		}
		rows = append(rows, append([]string{listStage(d.Stage), d.Vehicle, d.Name, d.Component, d.Task, d.Title, d.Limit, d.DueDate,
			inUnit(d.DueAt, u), inUnit(d.PastBy, u), u, d.Early, d.Likely, d.Late, d.LastDone, needs(d.Needs, reads.Volume), strings.Join(d.Cautions, ", "), d.Why}, figures(d.Figures)...))
	}
	slices.Sort(units)
	in := ""
	if units != nil {
		in = " (" + english.List("or", units) + ")"
	}
	heading := []string{"stage", "vehicle", "name", "component", "task", "title", "limit", "due date", "due at" + in, "past by" + in, "unit",
		"early", "likely", "late", "last done", "have ready", "cautions", "why", "capacity", "torque", "figures from"}
	return cells.Write(w, append([][]string{heading}, rows...), 8, 9)
}

// figures are the cells of what the register says: capacity, torque, and where they
// are from, with what to do.
func figures(f *event.Figures) []string {
	if f == nil {
		return []string{"", "", ""}
	}
	capacity := ""
	if f.Capacity != nil {
		capacity = f.Capacity.String()
	}
	return []string{capacity, f.TorqueText(), f.Source + "; confirm against the maker's manual"}
}

func inUnit(v *float64, u string) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(unit.From(*v, u), 'f', 1, 64)
}

// dueWhy prints how each due point of a vehicle came about.
func dueWhy(ctx context.Context, nc *nats.Conn, s cli.Env, c *cli.Client, vehicle string) error {
	list, err := listOf(ctx, nc, service.Why, service.Question{Vehicle: vehicle, Units: c.Units()})
	list = slices.DeleteFunc(list, func(y why.Why) bool { return y.Due == nil })
	return cli.Listing(s, c.JSON, list, err, "no task applies to "+vehicle, func(y why.Why) string { return y.Text() + "\n" })
}
