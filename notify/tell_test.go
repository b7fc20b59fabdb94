package notify

import (
	"fmt"
	"html"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify/people"
	"telltale/notify/wording"
	"telltale/rules/unit"
	"telltale/rules/word"
)

func cause(key string) Cause { return Cause{Key: key, Time: at("2031-02-19T09:15:00Z")} }

// byAll is news that is heard by the entry "all".
func byAll(out []engine.Output) []news {
	all := newsOf(register, out)
	for i := range all {
		all[i].entry = "all"
	}
	return all
}

func TestTellMails(t *testing.T) {
	worsened := copperRaised()
	worsened.Transition, worsened.From, worsened.To = "worsened", "caution", "warning"
	worsened.Advise = "Stop and have the transmission inspected before further use."
	worsened.Message = "Copper 214 mg/kg is 5.4 times the baseline"
	cleared := copperRaised()
	cleared.Transition, cleared.From, cleared.To, cleared.Standing = "cleared", "warning", "normal", "returned"
	cleared.Message = "Copper 44 mg/kg is 1.1 times the baseline"
	for name, out := range map[string][]engine.Output{
		"mail-caution": outputs(copperRaised()),
		"mail-three":   outputs(copperRaised(), taskOverdue(), coolantRaised()),
		"mail-worse":   outputs(worsened),
		"mail-cleared": outputs(cleared),
	} {
		all := Tell(directory(t), register, cause(name), out)
		if len(all) == 0 || all[0].Person != "ines" {
			t.Fatalf("%s: %d messages, want the first for ines", name, len(all))
		}
		golden(t, name+".txt", "Subject: "+all[0].Subject+"\n\n"+all[0].Text)
		golden(t, name+".html", all[0].HTML)
	}
}

// who is "person: subject [stage]" for each message.
func who(all []Message) (out []string) {
	for _, m := range all {
		out = append(out, fmt.Sprintf("%s: %s [%s]", m.Person, m.Subject, m.Stage))
	}
	return out
}

func TestTellWhoHears(t *testing.T) {
	with := func(base alarm.Transition, change func(*alarm.Transition)) alarm.Transition {
		change(&base)
		return base
	}
	for _, c := range []struct {
		name string
		out  []engine.Output
		want []string
	}{
		{"a caution is for the driver; the workshop reads it in its list", outputs(copperRaised()),
			[]string{"ines: Look: Bus 7 transmission, copper over baseline [caution]"}},
		{"a warning is for the workshop too, and coolant for the office", outputs(coolantRaised()), []string{
			"ines: Stop: Bus 7 transmission, coolant in the fluid [warning]",
			"north: Stop: Bus 7 transmission, coolant in the fluid [warning]",
			"tove: Stop: Bus 7 transmission, coolant in the fluid [warning]"}},
		{"one message for what came together, the worst in its subject", outputs(copperRaised(), taskOverdue()), []string{
			"ines: Overdue: Bus 7, Roadworthiness inspection, and 1 more [overdue]",
			"north: Overdue: Bus 7, Roadworthiness inspection [overdue]",
			"tove: Overdue: Bus 7, Roadworthiness inspection [overdue]"}},
		{"never wins over at once", outputs(with(taskOverdue(), func(t *alarm.Transition) { t.Vehicle = "library" })), []string{
			"ines: Overdue: Mobile library, Roadworthiness inspection [overdue]",
			"tove: Overdue: Mobile library, Roadworthiness inspection [overdue]"}},
		{"vehicles apart", outputs(with(coolantRaised(), func(t *alarm.Transition) { t.Vehicle = "gritter-1" }), coolantRaised()), []string{
			"ines: Stop: Bus 7 transmission, coolant in the fluid [warning]",
			"north: Stop: Bus 7 transmission, coolant in the fluid [warning]",
			"north: Stop: Gritter 1 transmission, coolant in the fluid [warning]",
			"tove: Stop: Bus 7 transmission, coolant in the fluid [warning]"}},
		{"shelved", outputs(with(coolantRaised(), func(t *alarm.Transition) { t.Shelved = true })), nil},
		{"out of service", outputs(with(coolantRaised(), func(t *alarm.Transition) { t.Standing = "out of service" })), nil},
		{"an answer", outputs(with(coolantRaised(), func(t *alarm.Transition) { t.Transition, t.From = "acknowledged", "warning" })), nil},
		{"cleared from an advisory", outputs(with(copperRaised(), func(t *alarm.Transition) {
			t.Transition, t.From, t.To = "cleared", "advisory", "normal"
		})), nil},
		{"eased out of what was told", outputs(with(copperRaised(), func(t *alarm.Transition) {
			t.Transition, t.From, t.To = "eased", "caution", "advisory"
		})), []string{"ines: Eased to Watch: Bus 7 transmission, copper over baseline [advisory]"}},
		{"taken back", outputs(with(copperRaised(), func(t *alarm.Transition) {
			t.Transition, t.From, t.To = "withdrawn", "caution", "normal"
		})), []string{"ines: Withdrawn: Bus 7 transmission, copper over baseline [normal]"}},
		{"refused and not judged", []engine.Output{{Refused: &alarm.Refusal{}}, {NotJudged: &alarm.NotJudged{}}}, nil},
	} {
		if got := who(Tell(directory(t), register, cause("x"), c.out)); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

func TestTellKeys(t *testing.T) {
	d := directory(t)
	a := Tell(d, register, cause("e-1"), outputs(coolantRaised(), copperRaised()))
	b := Tell(d, register, cause("e-1"), outputs(copperRaised(), coolantRaised()))
	if !reflect.DeepEqual(a, b) {
		t.Errorf("the order within one cause makes a difference:\n%+v\n%+v", a, b)
	}
	later := Tell(d, register, cause("e-2"), outputs(coolantRaised()))
	for i := range a {
		switch {
		case a[i].Key == later[i].Key:
			t.Errorf("two causes, one key %s", a[i].Key)
		case a[i].Thread != later[i].Thread:
			t.Errorf("what follows is not in the thread: %+v", later[i])
		case i > 0 && (a[i].Key == a[i-1].Key || a[i].Thread == a[i-1].Thread):
			t.Errorf("two people, one key or thread: %+v", a[i])
		}
	}
	if got := Tell(d, register, Cause{}, outputs(coolantRaised())); got != nil {
		t.Errorf("a batch without a cause was told: %v", got)
	}
}

var tags = regexp.MustCompile(`(?s)<style>.*?</style>|<title>.*?</title>|<[^>]*>`)

// words are the letters and digits of a text, in order.
func words(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

func visible(page string) string { return html.UnescapeString(tags.ReplaceAllString(page, " ")) }

func TestTextAndHTMLSayTheSame(t *testing.T) {
	d := directory(t)
	all := Tell(d, register, cause("x"), outputs(copperRaised(), taskOverdue(), coolantRaised()))
	list, _, ok := Digest(d, register, d.Person("north"), Listing{Parts: winterList(), Of: 3})
	if !ok {
		t.Fatal("no list")
	}
	for _, m := range append(all, list) {
		if text, page := words(m.Text), words(visible(m.HTML)); !reflect.DeepEqual(text, page) {
			t.Errorf("%s:\ntext %q\nhtml %q", m.Subject, text, page)
		}
	}
}

func TestAWarningSaysStopFirst(t *testing.T) {
	for advise, want := range map[string]string{
		"Check the level.":            wording.StopFirst + " Check the level.",
		"":                            wording.StopFirst,
		"Stop and have it inspected.": "Stop and have it inspected.",
		"Inspect before further use.": "Inspect before further use.",
		"do not start the engine":     "do not start the engine",
		"Stopping is not needed":      wording.StopFirst + " Stopping is not needed.",
	} {
		if got := wording.DoFirst(false, false, "warning", advise); got != want {
			t.Errorf("%q: got %q, want %q", advise, got, want)
		}
	}
}

// Nothing that a person reads shouts or blames.
func TestPlainWords(t *testing.T) {
	d := directory(t)
	list, _, _ := Digest(d, register, d.Person("north"), Listing{Parts: winterList(), Of: 3})
	for _, m := range append(Tell(d, register, cause("x"), outputs(copperRaised(), taskOverdue(), coolantRaised())), list) {
		if strings.ContainsAny(m.Text, "!") || !strings.Contains(strings.Join(strings.Fields(m.Text), " "), wording.StandingNote) {
			t.Errorf("an exclamation mark, or no note on what stands above:\n%s", m.Text)
		}
	}
}

// Who reads miles gets miles: where a task stands, and figures that are distances.
// What a rule's author wrote stands as it was written, and the foot says so.
// 1 mi = 1.609344 km exactly (NIST SP 811).
func TestMilesInAMail(t *testing.T) {
	oil := alarm.Transition{Time: at("2031-02-19T09:00:00Z"), Vehicle: "bus-07", Rule: "oil", Title: "Change the oil", Task: true,
		Transition: "raised", From: "normal", To: "soon", Standing: "unacknowledged", Message: "Change the oil: due at 48,280 km, in 1,609 km",
		Due: &alarm.DuePoint{On: "2031-02-19", Limit: "distance", At: &unit.Quantity{Value: 48280.3, Unit: "km"}, Past: &unit.Quantity{Value: -1609.3, Unit: "km"},
			Early: "2031-03-01", Likely: "2031-03-03", Late: "2031-03-09", PulledIn: []alarm.PulledIn{{Rule: "soot", On: "2031-02-10"}}}}
	copper := copperRaised()
	copper.Evidence = append(copper.Evidence, word.Evidence{Of: "fluidAge()", Value: 62000, Unit: "km"})
	read := func(p *people.Person, tr alarm.Transition) string {
		m := letter(cause("x"), telling{p: readerOf(p), way: people.Mail, mine: byAll(outputs(tr))}, "")
		return strings.Join(strings.Fields(m.Text), " ")
	}
	miles, km := directory(t).Person("ines"), directory(t).Person("north")
	const note = "Texts that come from the rules give distances in km."
	for _, c := range []struct {
		p         *people.Person
		tr        alarm.Transition
		says, not string
	}{
		{miles, oil, "1,000 mi to go until 30,000 mi. Likely on 3 Mar 2031, between 1 Mar 2031 and 9 Mar 2031. Brought forward by the alarm \"soot\" of 10 Feb 2031.", "km"},
		{km, oil, "1,609 km to go until 48,280 km.", "mi "},
		{miles, copper, "age of the fluid: 38,525 mi", "62,000"},
		{miles, copper, note, "x y z"},
		{km, copper, "age of the fluid: 62,000 km", note},
	} {
		if got := read(c.p, c.tr); !strings.Contains(got, c.says) || strings.Contains(got, c.not) {
			t.Errorf("%s: want %q and not %q in\n%s", c.p.Name, c.says, c.not, got)
		}
	}
}

// A check that nobody made in time is told as that, and not as done.
func TestLapsedIsNotDone(t *testing.T) {
	lapsed := alarm.Transition{Vehicle: "van-1", Rule: "leak check", Title: "Leak check", Task: true, Transition: alarm.Cleared,
		From: alarm.Overdue, To: alarm.Normal, Lapsed: true, Message: "Leak check: not done in time to tell anything, and not asked for any more"}
	b := blockOf(readerOf(&people.Person{}), &lapsed)
	if b.Badge != "Dropped" || b.Strong != "Too late to be useful, so it was removed from the list." {
		t.Errorf("got %q, %q", b.Badge, b.Strong)
	}
	done := lapsed
	done.Lapsed = false
	if b := blockOf(readerOf(&people.Person{}), &done); b.Badge != "Done" || b.Strong != wording.RecordedDone {
		t.Errorf("one that was done: %q, %q", b.Badge, b.Strong)
	}
}
