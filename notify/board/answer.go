package board

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"telltale/engine"
	"telltale/rules/english"
	"telltale/rules/unit"
)

const (
	wordNothing  = "There is nothing here."
	wordExpired  = "This link has expired. The next message brings a new one."
	wordTrouble  = "This does not work just now. Please try again in a while."
	wordNoted    = "Thank you, it is noted."
	wordOver     = "This is over."
	wordOverLead = "Nothing stands there any more, so there is nothing to answer."
	wordNotMine  = "Whoever looks after the list of people is told that this vehicle is not yours."
)

// form is a posted answer and what it is about.
type form struct {
	url.Values
	link  Link
	token string
	now   time.Time
	alarm engine.Standing
	reg   *engine.VehicleData // may be nil
	tasks []Task              // that were there to tick
}

type event struct {
	SpecVersion string    `json:"specversion"`
	Type        string    `json:"type"`
	Source      string    `json:"source"`
	ID          string    `json:"id"`
	Subject     string    `json:"subject"`
	Time        time.Time `json:"time"`
	Recorded    time.Time `json:"recordedtime"`
	Data        any       `json:"data"`
}

// answer makes the event that a form asks for, and says in a sentence what it did.
// The same form sent twice is the same event.
func answer(f form) (body []byte, done string, err error) {
	at, err := time.Parse(time.RFC3339, f.Get("at"))
	if err != nil || at.After(f.now) || f.now.Sub(at) > 12*time.Hour {
		return nil, "", errors.New("this page was open for long; please look at it again and send once more")
	}
	ev := event{SpecVersion: "1.0", Source: "/people/" + f.link.Person, Subject: f.link.Vehicle, Time: at, Recorded: at}
	sum := sha256.Sum256([]byte(f.token + "\x00" + f.Encode()))
	ev.ID = "answer-" + hex.EncodeToString(sum[:10])
	d := engine.AnswerData{Rule: f.link.Rule, Component: f.link.Component, By: f.link.Person, Why: short(f.Get("why"))}
	ev.Type = "telltale.answer.v1"
	switch f.Get("answer") {
	case "acknowledge":
		d.Answer, done = "acknowledge", "You have seen it; nobody is reminded any more."
	case "shelve":
		day, err := time.Parse(time.DateOnly, f.Get("until"))
		until := day.Add(8 * time.Hour)
		if err != nil || !until.After(at) || until.After(at.AddDate(1, 0, 0)) {
			return nil, "", errors.New("put aside until a day within the next year")
		}
		d.Answer, d.Until = "shelve", until.Format(time.RFC3339)
		done = "It is put aside until " + day.Format("2 January 2006") + ", unless it becomes worse."
	case "not mine":
		d.Answer, d.Rule, d.Component = "not mine", "", ""
		done = wordNotMine
	case "done":
		ev.Type = "telltale.service.v1"
		data, err := f.service(&ev)
		if err != nil {
			return nil, "", err
		}
		ev.Data, done = data, "The work is entered."
	default:
		return nil, "", errors.New("choose one of the answers")
	}
	if ev.Data == nil {
		ev.Data = d
	}
	body, err = json.Marshal(ev)
	return body, done, err
}

// service is work that was done, on the day given: at noon, or now where that is
// today.
func (f form) service(ev *event) (*engine.ServiceData, error) {
	day, err := time.Parse(time.DateOnly, f.Get("day"))
	if err != nil || day.After(ev.Time) || ev.Time.Sub(day) > 366*24*time.Hour {
		return nil, errors.New("the work was done on a day of the last year")
	}
	if day.Format(time.DateOnly) != ev.Time.Format(time.DateOnly) {
		ev.Time = day.Add(12 * time.Hour)
	}
	d := &engine.ServiceData{Component: f.link.Component, By: f.link.Person, Note: short(f.Get("why")), Meters: map[string]unit.Quantity{}}
	if f.alarm.Task {
		d.Tasks = []string{f.link.Rule}
	}
	for _, t := range f.tasks {
		if slices.Contains(f.Values["task"], t.Name) {
			d.Tasks = append(d.Tasks, t.Name)
		}
	}
	if f.reg != nil {
		for i, m := range metersOf(f.reg) {
			v, given, err := f.number("meter"+strconv.Itoa(i), 1e7)
			if err != nil {
				return nil, fmt.Errorf("the %s %w", m.Name, err)
			}
			if given && m.Unit != "h" && f.Get("unit"+strconv.Itoa(i)) == "mi" {
				m.Unit = "mi"
			}
			if given {
				d.Meters[m.Name] = unit.Quantity{Value: v, Unit: m.Unit}
			}
		}
	}
	v, given, err := f.number("volume", 1000)
	if err != nil {
		return nil, fmt.Errorf("the fluid %w", err)
	}
	if given && d.Component != "" {
		q := unit.Quantity{Value: v, Unit: unit.Volumes()[max(0, slices.Index(unit.Volumes(), f.Get("in")))]}
		d.Fluid = &engine.FluidData{Drained: &q, Filled: &q}
	}
	return d, nil
}

// number reads a number as people write it: "81,234" and "81 234" are taken.
func (f form) number(name string, most float64) (v float64, given bool, err error) {
	text := strings.NewReplacer(",", "", " ", "", "\u00a0", "").Replace(f.Get(name))
	if text == "" {
		return 0, false, nil
	}
	v, err = strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < 0 || v > most {
		return 0, false, fmt.Errorf("is not a number from 0 to %s", unit.Grouped(most))
	}
	return v, true, nil
}

// short keeps what someone wrote to one line of a sensible length, without what no
// event may hold.
func short(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && !unicode.IsSpace(r) {
			return -1
		}
		return r
	}, s)
	s = english.OneLine(strings.ToValidUTF8(s, "\uFFFD"))
	if r := []rune(s); len(r) > 500 {
		s = string(r[:500])
	}
	return s
}
