package lists

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/listing"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
)

// ask is what a list's address asks for.
type ask struct {
	View      listing.View
	Q         string
	Tag       string // as depot=north
	Stage     []alarm.Stage
	Of        string // see listing.Query
	Kind      string
	Rule      string
	Vehicle   string
	Person    string
	Statutory bool
	Aside     bool   // also what is put aside
	Ahead     int    // days
	On        string // YYYY-MM-DD
	State     string // see listing.VehicleQuery
	Silent    int    // days
	After     string
	Before    string
	Limit     int // 0 for a page
}

// pageLines are the lines of a page, paperLines those that are printed at once.
const (
	pageLines  = 50
	paperLines = listing.MostLines
)

// aheads are how many days a due list may reach ahead.
var aheads = []int{7, 30, 90}

// maxWords bounds what is searched for.
const maxWords = 200

// read reads an address. What it asks wrongly is a fault with the place where to go on.
func read(r *frame.Request, view listing.View) (ask, error) {
	v := r.URL.Query()
	a := ask{View: view, Q: strings.TrimSpace(v.Get("q")), Tag: v.Get("tag"), Kind: v.Get("kind"), Rule: v.Get("rule"), Vehicle: v.Get("vehicle"),
		Person: v.Get("person"), Of: v.Get("of"), State: v.Get("state"), Statutory: v.Get("law") != "", Aside: v.Get("aside") != "",
		On: v.Get("on"), After: v.Get("after"), Before: v.Get("before")}
	if len(a.Q) > maxWords {
		return a, wrong("What is searched for is longer than %d letters.", maxWords)
	}
	for _, s := range v["stage"] {
		switch stage := alarm.Stage(s); {
		case s == "":
		case slices.Contains(alarm.TaskStages[1:], stage) || slices.Contains(alarm.RuleStages[1:], stage):
			a.Stage = append(a.Stage, stage)
		default:
			return a, wrong("There is no stage %q.", s)
		}
	}
	var err error
	if a.Ahead, err = days(v.Get("ahead"), 3660); err != nil {
		return a, err
	}
	if a.Silent, err = days(v.Get("silent"), 3660); err != nil {
		return a, err
	}
	if _, err := time.Parse(time.DateOnly, a.On); a.On != "" && err != nil {
		return a, wrong("%q is no day. Write it as 2031-06-06.", a.On)
	}
	return a, nil
}

func days(s string, most int) (int, error) {
	n, err := strconv.Atoi(s)
	if s != "" && (err != nil || n < 0 || n > most) {
		return 0, wrong("%q is no number of days from 0 to %d.", s, most)
	}
	return n, nil
}

// reckoned reports whether the list is no list of what stands: it takes longer, since each
// task of each vehicle is reckoned for it.
func (a ask) reckoned() bool { return a.Ahead > 0 || a.On != "" }

// filtered reports whether the list is not the whole one.
func (a ask) filtered() bool {
	return a.Q != "" || a.Tag != "" || len(a.Stage) > 0 || a.Kind != "" || a.Rule != "" || a.Vehicle != "" || a.Person != "" || a.Statutory || a.State != "" || a.Silent > 0 || a.Of != ""
}

// values are those of the address, but for the place in the list.
func (a ask) values() url.Values {
	v := url.Values{}
	set := func(name, value string) {
		if value != "" {
			v.Add(name, value)
		}
	}
	set("q", a.Q)
	set("tag", a.Tag)
	for _, s := range a.Stage {
		set("stage", string(s))
	}
	set("kind", a.Kind)
	set("rule", a.Rule)
	set("vehicle", a.Vehicle)
	set("person", a.Person)
	set("of", a.Of)
	set("state", a.State)
	set("on", a.On)
	if a.Ahead > 0 {
		set("ahead", strconv.Itoa(a.Ahead))
	}
	if a.Silent > 0 {
		set("silent", strconv.Itoa(a.Silent))
	}
	if a.Statutory {
		set("law", "1")
	}
	if a.Aside {
		set("aside", "1")
	}
	if a.View != "" && a.View != listing.Due && a.View != listing.Standing {
		set("view", string(a.View))
	}
	return v
}

// at is an address that asks the same of another page; more are names and values.
func (a ask) at(path string, more ...string) string {
	v := a.values()
	for i := 0; i+1 < len(more); i += 2 {
		if v.Del(more[i]); more[i+1] != "" {
			v.Set(more[i], more[i+1])
		}
	}
	if len(v) == 0 {
		return path
	}
	return path + "?" + v.Encode()
}

// wrong is the answer for an address that asks for what there is not.
func wrong(format string, args ...any) *frame.Fault {
	return &frame.Fault{Status: http.StatusBadRequest, Title: wordWrongAsk, Words: sprintf(format, args...) + " " + wordBeginAnew}
}

// asked is the error of a question; what was wrong with the question itself is a fault of the
// address.
func asked(err error) error {
	if f, ok := errors.AsType[*listing.Fault](err); ok {
		return wrong("%s.", f.Error())
	}
	return err
}

// resolved has the vehicle by the name that its record is kept under.
func (s site) resolved(ctx context.Context, r *frame.Request, a *ask) error {
	if a.Vehicle == "" {
		return nil
	}
	v, err := s.VehicleTo(ctx, r, rights.Glance, a.Vehicle)
	if err == nil {
		a.Vehicle = v.ID
	}
	return err
}
