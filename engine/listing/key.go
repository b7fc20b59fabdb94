package listing

import (
	"cmp"
	"errors"
	"math"
	"net/url"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/record"
)

// Key is the place of a line in a list. Lists go by how bad it is, then what the law asks
// for, then the date, then vehicle, rule and component. As text it is what After and Before
// take: "overdue.s.2031-03-01.bus-07.annual+test.".
type Key struct {
	stage     alarm.Stage
	statutory bool
	at        int64 // Unix seconds; noDate for a task of which nobody knows when it is due
	// Vehicle is the present name, Rule that of the rule or task.
	Vehicle, Rule, Component string
}

// noDate comes before all dates: nobody knows how late it is.
const noDate = math.MinInt64

func (k *Key) compare(o *Key) int {
	return cmp.Or(cmp.Compare(rankOf(o.stage), rankOf(k.stage)), record.TrueFirst(k.statutory, o.statutory), cmp.Compare(k.at, o.at),
		strings.Compare(k.Vehicle, o.Vehicle), strings.Compare(k.Rule, o.Rule), strings.Compare(k.Component, o.Component))
}

// rankOf is the number of a stage; the worse, the greater.
func rankOf(s alarm.Stage) int {
	return max(slices.Index(alarm.TaskStages[:], s), slices.Index(alarm.RuleStages[:], s))
}

// String is the key as a question takes it.
func (k *Key) String() string {
	law, at := "", ""
	if k.statutory {
		law = "s"
	}
	if k.at != noDate {
		at = time.Unix(k.at, 0).UTC().Format(time.RFC3339)
	}
	return strings.Join([]string{string(k.stage), law, strings.TrimSuffix(at, "T00:00:00Z"), part(k.Vehicle), part(k.Rule), part(k.Component)}, ".")
}

// part is a name that holds no dot.
func part(s string) string { return strings.ReplaceAll(url.QueryEscape(s), ".", "%2E") }

// ParseKey reads what String wrote.
func ParseKey(text string) (k Key, err error) {
	err = k.parse(text)
	return k, err
}

var errNoKey = errors.New("this is no place in the list; begin at its first page")

func (k *Key) parse(text string) error {
	f := strings.Split(text, ".")
	if len(f) != 6 || rankOf(alarm.Stage(f[0])) < 0 || f[1] != "" && f[1] != "s" {
		return errNoKey
	}
	*k = Key{stage: alarm.Stage(f[0]), statutory: f[1] == "s", at: noDate}
	if at := f[2]; at != "" {
		if !strings.Contains(at, "T") {
			at += "T00:00:00Z"
		}
		t, err := time.Parse(time.RFC3339, at)
		if err != nil {
			return errNoKey
		}
		k.at = t.Unix()
	}
	for i, to := range []*string{&k.Vehicle, &k.Rule, &k.Component} {
		s, err := url.QueryUnescape(f[3+i])
		if err != nil {
			return errNoKey
		}
		*to = s
	}
	return nil
}
