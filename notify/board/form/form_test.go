package form

import (
	"html/template"
	"net/url"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/notify/people"
	"telltale/rules/unit"
	"telltale/testdata/hostile"
)

var ines = Typist{Units: unit.Metric, Zone: time.UTC, Now: time.Date(2031, 6, 6, 6, 30, 0, 0, time.UTC)}

// typedIn is the field of a form that was filled in.
func typedIn(who Typist, text string) *Field {
	return Read(url.Values{"n": {text}}, who).Field("n", "Fluid drained")
}

// The decimal mark is the person's; the other one stands between groups of three alone,
// and what does not fit is asked back with what it may be.
func TestNumber(t *testing.T) {
	comma := ines
	comma.DecimalComma = true
	for _, c := range []struct {
		who  Typist
		text string
		want float64
		said string
	}{
		{ines, "4.5", 4.5, ""},
		{ines, "4,5", 0, "4,5: write 4.5 or 45."},
		{ines, "81,5", 0, "81,5: write 81.5 or 815."},
		{comma, "4,5", 4.5, ""},
		{comma, "4.5", 0, "4.5: write 4,5 or 45."},
		{ines, "81,234", 81234, ""},
		{comma, "81.234,5", 81234.5, ""},
		{ines, "81 234.5", 81234.5, ""},
		{comma, "81\u00a0234,5", 81234.5, ""},
		{comma, "81’234,5", 81234.5, ""},
		{ines, "1.234.567", 0, "1.234.567: write 1234567."},
		{ines, "1.234,5", 0, "1.234,5: write 1234.5."},
		{ines, "4 5", 0, "4 5: write 45."},
		{ines, ".5", 0, ".5: write 0.5."},
		{ines, "5.", 0, "5.: write 5."},
		{ines, "abc", 0, "“abc” is not a number."},
		{ines, "NaN", 0, "“NaN” is not a number."},
		{ines, "1e3", 0, "“1e3” is not a number."},
		{ines, "-5", 0, "-5 is not from 0 to 10,000,000."},
		{ines, "20000000", 0, "20000000 is not from 0 to 10,000,000."},
		{ines, " ", 0, ""},
	} {
		d := typedIn(c.who, c.text)
		if got, _ := d.Number(0, 1e7); got != c.want || d.Said() != c.said {
			t.Errorf("%q, comma %v: got %v, %q; want %v, %q", c.text, c.who.DecimalComma, got, d.Said(), c.want, c.said)
		}
		if d.Value() != c.text {
			t.Errorf("%q was kept as %q", c.text, d.Value())
		}
	}
}

// What is offered instead of a number that cannot be read can be read.
func TestNumberSaysWhatCanBeRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		who := ines
		who.DecimalComma = rapid.Bool().Draw(t, "comma")
		text := rapid.StringMatching(`[0-9]{0,4}([.,' ][0-9]{0,4}){0,3}`).Draw(t, "text")
		d := typedIn(who, text)
		d.Number(0, 1e17)
		_, cures, ok := strings.Cut(strings.TrimSuffix(d.Said(), "."), ": write ")
		if !ok {
			return
		}
		for _, cure := range strings.Split(cures, " or ") {
			again := typedIn(who, cure)
			v, read := again.Number(0, 1e17)
			if digits := strings.Map(onlyDigits, text); !read || strings.Map(onlyDigits, cure) != digits && "0"+digits != strings.Map(onlyDigits, cure) {
				t.Fatalf("%q: %q: %q is %v, %v", text, d.Said(), cure, v, read)
			}
		}
	})
}

func onlyDigits(r rune) rune {
	if r < '0' || r > '9' {
		return -1
	}
	return r
}

func TestQuantity(t *testing.T) {
	miles := ines
	miles.Units.Distance = "mi"
	for _, c := range []struct {
		who  Typist
		text string
		in   string // chosen beside it
		want *unit.Quantity
		said string
	}{
		{ines, "81234", "", &unit.Quantity{Value: 81234, Unit: "km"}, ""},
		{miles, "81234", "", &unit.Quantity{Value: 81234, Unit: "mi"}, ""},
		{miles, "81234", "km", &unit.Quantity{Value: 81234, Unit: "km"}, ""},
		{miles, "81,234 km", "", &unit.Quantity{Value: 81234, Unit: "km"}, ""},
		{ines, "50450miles", "", &unit.Quantity{Value: 50450, Unit: "mi"}, ""},
		{ines, "81234", "parsec", &unit.Quantity{Value: 81234, Unit: "km"}, ""},
		{ines, "81234 L", "", nil, "81234 L: write the number alone, in km or mi."},
		{ines, "81.234", "", nil, "81.234 may be two numbers: write 81234, or 81.2."},
		{ines, "81.23", "", &unit.Quantity{Value: 81.23, Unit: "km"}, ""},
		{ines, "10000001", "", nil, "10000001 is not from 0 to 10,000,000."},
		{ines, "", "", nil, ""},
	} {
		f := Read(url.Values{"n": {c.text}, "n-in": {c.in}}, c.who)
		d := f.Field("n", "Odometer").In(c.who.OwnFirst(unit.Distance)...)
		if got := d.Quantity(unit.Distance, 1e10); !reflect.DeepEqual(got, c.want) || d.Said() != c.said {
			t.Errorf("%q in %q: got %v, %q; want %v, %q", c.text, c.in, got, d.Said(), c.want, c.said)
		}
	}
	for q, want := range map[unit.Quantity]string{{Value: 4.5, Unit: "L"}: "4.5L", {Value: 81.234, Unit: "km"}: "81.2340km", {Value: 81234, Unit: "mi"}: "81234mi"} {
		if got := Typed(&q); got != want {
			t.Errorf("%v is typed %s, want %s", q, got, want)
		}
	}
}

// Days are read as browsers send them and in the person's order, by the vehicle's clock:
// at 06:30 in Auckland it is a day that is not yet in London.
func TestDay(t *testing.T) {
	auckland, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	early := ines
	early.Zone, early.Now = auckland, time.Date(2031, 6, 6, 6, 30, 0, 0, auckland)
	american := early
	american.Dates = people.MonthFirst
	byYear := early
	byYear.Dates = people.YearFirst
	for _, c := range []struct {
		who        Typist
		text, want string
		said       string
	}{
		{early, "2031-06-06", "2031-06-06", ""},
		{early, "5/6/2031", "2031-06-05", ""},
		{early, "5.6.31", "2031-06-05", ""},
		{american, "6/5/2031", "2031-06-05", ""},
		{american, "Jun 5, 2031", "2031-06-05", ""},
		{early, "5 June 2031", "2031-06-05", ""},
		{early, "2031-06-07", "", "Choose a day from 6 Jun 2030 to 6 Jun 2031."},
		{early, "2029-01-01", "", "Choose a day from 6 Jun 2030 to 6 Jun 2031."},
		{american, "2031-06-31", "", "There is no day 2031-06-31: write today as 6/6/2031."},
		{byYear, "5/6/2031", "", "5/6/2031 is not a day: write today as 2031-06-06."},
		{early, "yesterday", "", "Yesterday is not a day: write today as 6/6/2031."},
		{early, "", "", "Choose a day from 6 Jun 2030 to 6 Jun 2031."},
	} {
		d := Read(url.Values{"day": {c.text}}, c.who).Field("day", "Day").Within("2030-06-06", c.who.Today()).Need()
		if got := d.Day(); got != c.want || d.Said() != c.said {
			t.Errorf("%q: got %q, %q; want %q, %q", c.text, got, d.Said(), c.want, c.said)
		}
	}
	if early.Today() != "2031-06-06" || early.DayAfter(-1) != "2031-06-05" || early.At("2031-06-06") != "" || early.At("2031-06-05") != "2031-06-05" {
		t.Errorf("today is %s, the day before %s", early.Today(), early.DayAfter(-1))
	}
}

// What is doubted is asked back once, and again when it is changed.
func TestDoubtsAreAskedOnce(t *testing.T) {
	read := func(v url.Values) *Form {
		f := Read(v, ines)
		if d := f.Field("volume", "Fluid drained"); d.Value() > "8" {
			d.Doubt("%s L is more than the 8 L of the transmission", d.Value())
		}
		return f
	}
	first := read(url.Values{"volume": {"9"}})
	if first.Right() || len(first.Doubts()) != 1 || first.Title("Work") != "Not entered yet: Work" || first.Verb("Enter it") != "Enter it all the same" {
		t.Fatalf("9: %v, doubts %v", first.Right(), first.Doubts())
	}
	if again := read(url.Values{"volume": {"9"}, "sure": first.Asked(), "form": {first.ID}}); !again.Right() || again.ID != first.ID {
		t.Errorf("9 again: %v", again.Doubts())
	}
	if other := read(url.Values{"volume": {"9.5"}, "sure": first.Asked()}); other.Right() {
		t.Error("9.5 was never asked after")
	}
}

func TestFormsIdentity(t *testing.T) {
	f := New(ines)
	if g := New(ines); f.ID == g.ID || len(f.ID) != 20 {
		t.Errorf("two forms are %q and %q", f.ID, g.ID)
	}
	if g := Read(url.Values{"form": {f.ID}}, ines); g.ID != f.ID {
		t.Errorf("%q was read as %q", f.ID, g.ID)
	}
	if g := Read(url.Values{"form": {"../../x"}}, ines); !plainID.MatchString(g.ID) {
		t.Errorf("somebody's own identity %q", g.ID)
	}
}

var aPage = template.Must(Templates(template.New("")).New("page").Parse(`{{template "form.summary" .Form}}<form>{{template "form.hidden" .Form}}
{{template "form.text" .Note}}{{template "form.number" .Volume}}{{template "form.day" .Day}}{{template "form.ticks" .Tasks}}{{template "form.tick" .Flush}}{{template "form.choice" .By}}{{template "form.one" .By}}</form>`))

func shown(t *testing.T, f *Form) string {
	t.Helper()
	v := map[string]any{"Form": f, "Note": f.Field("note", "Note"), "Volume": f.Field("volume", "Fluid drained").In("L", "qt"), "Day": f.Field("day", "Day").Before(f.Today()),
		"Tasks": f.Field("task", "Done"), "Flush": f.Field("flush", "All of it"), "By": f.Field("by", "Who")}
	f.Field("task", "").Choices = []Choice{{"a", "A"}, {"b", "B"}}
	f.Field("by", "").Choices = []Choice{{"ines", "Ines"}, {"tobias", "Tobias"}}
	f.Field("volume", "").Quantity(unit.Volume, 1000)
	f.Field("day", "").Day()
	var out strings.Builder
	if err := aPage.Execute(&out, v); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// A refused form holds everything that was typed, and each fault stands beside its field
// and first on the page.
func TestPageKeepsWhatWasTyped(t *testing.T) {
	sent := url.Values{"note": {"grey film"}, "volume": {"4,5"}, "volume-in": {"qt"}, "day": {"31 June 2031"}, "task": {"b"}, "flush": {"yes"}, "by": {"tobias"}}
	got := shown(t, Read(sent, ines))
	for _, want := range []string{
		`role="alert"`, `<a href="#f-volume">Fluid drained: 4,5: write 4.5 or 45.</a>`, `<a href="#f-day">Day: There is no day 31 June 2031: write today as 6/6/2031.</a>`,
		`value="grey film"`,
		`<input id="f-volume" name="volume" value="4,5" inputmode="decimal" autocomplete="off" maxlength="40" aria-invalid="true" aria-describedby="f-volume-wrong">`,
		`<p class="wrong" id="f-volume-wrong">4,5: write 4.5 or 45.</p>`, `<option selected>qt</option>`,
		`value="31 June 2031" type="text" aria-invalid="true"`, `value="b" checked`, `value="yes" checked`, `<option value="tobias" selected>`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("the page lacks %s\n%s", want, got)
		}
	}
	if first := shown(t, New(ines)); strings.Contains(first, "alert") || strings.Contains(first, "invalid") || !strings.Contains(first, `value="2031-06-06" type="date"`) {
		t.Errorf("when it is first shown:\n%s", first)
	}
}

func TestHostile(t *testing.T) {
	for _, h := range hostile.Text {
		f := Read(url.Values{"note": {h}, "volume": {h}, "day": {h}, "task": {h}, "by": {h}, "volume-in": {h}}, ines)
		got := shown(t, f)
		if strings.Contains(got, "<script") || strings.Contains(got, "<img") || strings.Count(got, "<form") != 1 || len(got) > 40<<10 {
			t.Errorf("%.30q: %d bytes\n%.600s", h, len(got), got)
		}
		if text := f.Field("note", "").Text(); len([]rune(text)) > maxLine || strings.ContainsAny(text, "\r\n\x00") {
			t.Errorf("%.30q is kept as %.60q", h, text)
		}
	}
}

// Numbers that the service writes are read as they are.
func TestNumberReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		who := ines
		who.DecimalComma = rapid.Bool().Draw(t, "comma")
		v := float64(rapid.Int64Range(0, 1e9).Draw(t, "tenths")) / 10
		text := strconv.FormatFloat(v, 'f', -1, 64)
		if who.DecimalComma {
			text = strings.Replace(text, ".", ",", 1)
		}
		if got, ok := typedIn(who, text).Number(0, 1e12); got != v || !ok && v != 0 {
			t.Fatalf("%q: got %v", text, got)
		}
	})
}
