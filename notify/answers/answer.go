package answers

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/rules/english"
	"telltale/rules/unit"
)

const (
	wordNothing  = "There is nothing at this address."
	wordExpired  = "This link has expired. The next message will have a new one."
	wordTrouble  = "That did not work. Please try again in a few minutes."
	wordNoted    = "Thank you. It has been recorded."
	wordOver     = "This alarm is closed."
	wordOverLead = "There is nothing to do."
	wordNotMine  = "The operator has been told that this vehicle is not yours."

	wordShelf        = "it can be put aside for %d days at most"
	wordWarningShelf = "a warning can be put aside for %d days at most, and only for a reason"
)

// form is a posted answer and what it is about.
type form struct {
	url.Values
	link   Link
	token  string
	now    time.Time
	alarm  alarm.Listed
	meters []event.MeterDef
	tasks  []Task // that were there to tick
}

// answer makes the event that a form asks for, and says in a sentence what it did.
// The same form sent twice is the same event.
func answer(f form) (ev event.Event, done string, err error) {
	at, err := time.Parse(time.RFC3339, f.Get("at"))
	if err != nil || at.After(f.now) || f.now.Sub(at) > 12*time.Hour {
		return ev, "", errors.New("this page was open for a long time; please check it and send it again")
	}
	sum := sha256.Sum256([]byte(f.token + "\x00" + f.Encode()))
	ev = event.Event{ID: event.ID{Source: "/people/" + f.link.Person, ID: "answer-" + hex.EncodeToString(sum[:10])},
		Kind: event.AnswerEvent, Vehicle: f.link.Vehicle, Time: at, Recorded: at}
	d := &event.AnswerData{Answer: f.Get("answer"), Rule: f.link.Rule, Component: f.link.Component, By: f.link.Person, Why: short(f.Get("why"))}
	ev.Data = d
	switch d.Answer {
	case "acknowledge":
		done = "Acknowledged. There will be no more reminders."
	case "shelve":
		if done, err = f.shelve(d, at); err != nil {
			return ev, "", err
		}
	case "not mine":
		d.Rule, d.Component, done = "", "", wordNotMine
	case "done":
		ev.Kind, done = event.ServiceEvent, "The work is entered."
		if err = f.service(&ev); err != nil {
			return ev, "", err
		}
	default:
		return ev, "", errors.New("choose one of the answers")
	}
	return ev, done, nil
}

// shelve puts the alarm aside until the morning of a day, no later than its stage allows.
func (f form) shelve(d *event.AnswerData, at time.Time) (done string, err error) {
	most := alarm.ShelfDays(f.alarm.To)
	last := at.AddDate(0, 0, most)
	day, err := time.Parse(time.DateOnly, f.Get("until"))
	until := day.Add(8 * time.Hour)
	switch {
	case err != nil || !until.After(at) || day.After(last):
		return "", fmt.Errorf("choose a day from %s to %s: %s", written(at.AddDate(0, 0, 1)), written(last), shelfLimit(f.alarm.To))
	case f.alarm.To == alarm.Warning && d.Why == "":
		return "", errors.New("say why: a warning is put aside only for a reason")
	case until.After(last):
		until = last // the same day, some hours earlier
	}
	d.Until = until.Format(time.RFC3339)
	return "It is put aside until " + written(day) + ", unless it gets worse.", nil
}

// shelfLimit says for how long an alarm of that stage is put aside.
func shelfLimit(s alarm.Stage) string {
	if s == alarm.Warning {
		return fmt.Sprintf(wordWarningShelf, alarm.ShelfDays(s))
	}
	return fmt.Sprintf(wordShelf, alarm.ShelfDays(s))
}

// written is a day as the page writes it.
func written(day time.Time) string { return day.Format("2 January 2006") }

// service is work that was done, on the day given: at noon, or now where that is
// today.
func (f form) service(ev *event.Event) error {
	day, err := time.Parse(time.DateOnly, f.Get("day"))
	if err != nil || day.After(ev.Time) || ev.Time.Sub(day) > 366*24*time.Hour {
		return errors.New("enter a day within the last year")
	}
	if day.Format(time.DateOnly) != ev.Time.Format(time.DateOnly) {
		ev.Time = day.Add(12 * time.Hour)
	}
	j := job.Job{Said: map[string]string{"component": f.link.Component, "by": f.link.Person, "note": short(f.Get("why"))}}
	if f.alarm.Task {
		j.Tasks = []string{f.link.Rule}
	}
	for _, t := range f.tasks {
		if slices.Contains(f.Values["task"], t.Name) {
			j.Tasks = append(j.Tasks, t.Name)
		}
	}
	for i, m := range f.meters {
		in := "km"
		if m.Kind == "hours" {
			in = "h"
		} else if f.Get("unit"+strconv.Itoa(i)) == "mi" {
			in = "mi"
		}
		text, err := f.number("meter"+strconv.Itoa(i), 1e7, in)
		if err != nil {
			return fmt.Errorf("the %s %w", m.Name, err)
		}
		if text != "" {
			j.Meters = append(j.Meters, job.Meter{Name: m.Name, Text: text})
		}
	}
	exchanged, err := f.number("volume", 1000, unit.Volumes()[max(0, slices.Index(unit.Volumes(), f.Get("in")))])
	if err != nil {
		return fmt.Errorf("the fluid %w", err)
	}
	if f.link.Component != "" {
		j.Said["fluid.drained"], j.Said["fluid.filled"], j.Said["fluid.flush"] = exchanged, exchanged, f.Get("flush")
	}
	ev.Data, err = j.Data(f.meters)
	return err
}

// number reads a number as people write it, "81,234" and "81 234" too, and gives it its
// unit; "" where there is none.
func (f form) number(name string, most float64, in string) (string, error) {
	text := strings.NewReplacer(",", "", " ", "", "\u00a0", "").Replace(f.Get(name))
	if text == "" {
		return "", nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < 0 || v > most {
		return "", fmt.Errorf("is not a number from 0 to %s", unit.Grouped(most))
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + in, nil
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
