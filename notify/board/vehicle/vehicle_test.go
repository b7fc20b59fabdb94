package vehicle

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/stream/service"
	"telltale/engine/whole"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/wording"
	"telltale/rules"
	"telltale/testdata/hostile/named"
)

func TestMain(m *testing.M) { boardtest.Main(m) }

// fleet is the sample's vehicles, each as the service tells it.
func fleet(t *testing.T, f *frame.Frame) (out []whole.Vehicle) {
	t.Helper()
	list, err := service.Register.Of(t.Context(), f.Service, service.Question{})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range list {
		all, err := service.Vehicle.Of(t.Context(), f.Service, service.Question{Vehicle: v.Vehicle, Units: []string{}})
		if err != nil || len(all) != 1 {
			t.Fatalf("%s: %d answers (%v)", v.Vehicle, len(all), err)
		}
		out = append(out, all[0])
	}
	return out
}

// TestPages: every page of every vehicle of the sample fleet is there, and light.
func TestPages(t *testing.T) {
	f := boardtest.Sample(t)
	h := f.Handler(Pages(f.Frame)...)
	for _, v := range fleet(t, f.Frame) {
		paths := []string{"/v/" + v.Vehicle, "/v/" + v.Vehicle + "/history", "/v/" + v.Vehicle + "/handover", "/v/" + v.Vehicle + "/events", "/v/" + v.Vehicle + "/history.csv", "/v/" + v.Vehicle + "/history.json"}
		for _, i := range v.Tasks {
			paths = append(paths, frame.Path("v", v.Vehicle, "why", i.Task)+query("component", i.Component))
		}
		for _, a := range v.Alarms {
			paths = append(paths, frame.Path("v", v.Vehicle, "why", a.Rule)+query("component", a.Component))
		}
		for _, path := range paths {
			w := boardtest.Get(t, h, path)
			if page := strings.HasPrefix(w.Header().Get("Content-Type"), "text/html"); w.Code != 200 || page && w.Body.Len() > 60<<10 {
				t.Errorf("%s: %d, %d bytes", path, w.Code, w.Body.Len())
			}
		}
	}
}

// shown is what a vehicle's page says of it.
type shown struct{ Now, Later, Stands, Meters, Components []string }

// TestSaysWhatTheServiceSays: a vehicle's page has all its work in order, what is due of it
// just as the due list has it, all alarms, meters, components and samples.
func TestSaysWhatTheServiceSays(t *testing.T) {
	f := boardtest.Sample(t)
	h := f.Handler(Pages(f.Frame)...)
	by := wording.Reader{Person: f.People().Person(f.People().Operators()[0])}
	for _, v := range fleet(t, f.Frame) {
		got, want := onItsPage(parse(t, boardtest.Get(t, h, "/v/"+v.Vehicle).Body.String())), byService(&v, by.On(v.Register.Reads))
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: the page has\n%q\nthe service\n%q", v.Vehicle, got, want)
		}
		list, err := service.Due.Of(t.Context(), f.Service, service.Question{Vehicle: v.Vehicle, Units: []string{}})
		if err != nil || v.OutSince == "" && !sameWork(list, v.Tasks) {
			t.Errorf("%s: the due list has %d lines (%v)", v.Vehicle, len(list), err)
		}
	}
}

func byService(v *whole.Vehicle, by wording.Reader) (out shown) {
	for i := range v.Tasks {
		it := by.Work(by.SaidOf(&v.Tasks[i]), v.Today)
		line := strings.Join(strings.Fields(it.What+": "+it.Lines[0].Text), " ")
		if v.Tasks[i].Stage == alarm.Normal {
			out.Later = append(out.Later, it.What+": "+strings.TrimSpace(it.Strong+" "+it.Lines[0].Text))
		} else {
			out.Now = append(out.Now, line)
		}
	}
	for _, a := range v.Alarms {
		if !a.Task {
			out.Stands = append(out.Stands, frame.Path("v", v.Vehicle, "why", a.Rule)+query("component", a.Component))
		}
	}
	slices.Sort(out.Stands)
	for i := range v.Meters {
		m := &v.Meters[i]
		out.Meters = append(out.Meters, strings.TrimSpace(m.Name+" "+m.Shown()+" "+by.Date(m.ReadOn)+" "+m.Uses()))
	}
	for _, c := range v.Register.Components {
		line := c.Name
		for _, s := range v.Samples {
			if s.Component == c.Name {
				line += " Sample " + s.Number + " of " + by.Date(s.Drawn)
			}
		}
		out.Components = append(out.Components, line)
	}
	return out
}

func onItsPage(page *html.Node) (out shown) {
	work := byID(page, "work")
	for _, li := range all(work, "li") {
		out.Now = append(out.Now, text(all(li, "a")[0])+": "+text(all(all(li, "div")[1], "p")[len(strongs(li))]))
	}
	for _, tr := range all(work, "tr") {
		if td := all(tr, "td"); len(td) > 0 {
			out.Later = append(out.Later, text(td[0])+": "+text(td[1]))
		}
	}
	for _, s := range all(page, "section") {
		if strings.HasPrefix(attr(s, "class"), "block") {
			out.Stands = append(out.Stands, attr(all(s, "a")[0], "href"))
		}
	}
	slices.Sort(out.Stands)
	for _, tr := range all(byID(page, "meters"), "tr") {
		if td := all(tr, "td"); len(td) > 0 {
			out.Meters = append(out.Meters, strings.TrimSpace(text(td[0])+" "+text(td[1])+" "+text(td[2])+" "+text(td[3])))
		}
	}
	for _, li := range all(byID(page, "components"), "li") {
		line := text(all(li, "p")[0])
		if a := all(li, "a"); len(a) > 0 {
			line += " " + text(a[0])
		}
		out.Components = append(out.Components, line)
	}
	return out
}

// strongs are what a line says before all else.
func strongs(li *html.Node) (out []*html.Node) {
	for _, p := range all(all(li, "div")[1], "p") {
		if attr(p, "class") == "strong" {
			out = append(out, p)
		}
	}
	return out
}

// sameWork reports whether a due list is what of the work is due.
func sameWork(list, tasks []due.Item) bool {
	tasks = slices.DeleteFunc(slices.Clone(tasks), func(i due.Item) bool { return i.Stage == alarm.Normal })
	due.SortDue(tasks)
	return len(list) == 0 && len(tasks) == 0 || reflect.DeepEqual(list, tasks)
}

// TestHostile: whatever vehicles, parts and people are called, the pages have our elements
// alone.
func TestHostile(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "rules/all.yaml", Text: []byte(named.Book)}}, People: aPeople, Events: named.Events(t), Sift: true})
	h := f.Handler(Pages(f.Frame)...)
	vehicles := fleet(t, f.Frame)
	for _, v := range vehicles {
		paths := []string{frame.Path("v", v.Vehicle), frame.Path("v", v.Vehicle, "history"), frame.Path("v", v.Vehicle, "handover"), frame.Path("v", v.Vehicle, "events")}
		for _, i := range v.Tasks {
			paths = append(paths, frame.Path("v", v.Vehicle, "why", i.Task)+query("component", i.Component))
		}
		for _, path := range paths {
			w := boardtest.Get(t, h, path)
			if w.Code != 200 || w.Body.Len() > 200<<10 {
				t.Errorf("%.100q: %d, %d bytes", path, w.Code, w.Body.Len())
			}
			for n := range parse(t, w.Body.String()).Descendants() {
				if n.Type == html.ElementNode && slices.Contains([]string{"b", "iframe", "style", "img", "base"}, n.Data) || n.Type == html.CommentNode {
					t.Errorf("%.100q has <%s>", path, n.Data)
				}
			}
		}
	}
	if len(vehicles) < 20 {
		t.Errorf("%d vehicles", len(vehicles))
	}
}
