package sheet_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
)

// sheetForm is the form of a sheet of van-1's engine, as a browser has it before anything is
// typed.
func sheetForm(t *testing.T, h http.Handler) url.Values {
	t.Helper()
	w := boardtest.Get(t, h, engineForm)
	if w.Code != http.StatusOK {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	return filled(t, w)
}

const engineForm = "/v/van-1/sample?component=engine"

// filled are the values of a page's form as it stands there.
func filled(t *testing.T, w *httptest.ResponseRecorder) url.Values {
	t.Helper()
	out := url.Values{}
	for n := range parsed(t, w).Descendants() {
		attr := map[string]string{}
		for _, a := range n.Attr {
			attr[a.Key] = a.Val
		}
		_, checked := attr["checked"]
		switch {
		case attr["name"] == "" || n.Data == "button":
		case n.Data == "input" && (attr["type"] != "checkbox" || checked):
			out.Add(attr["name"], attr["value"])
		case n.Data == "select":
			value := ""
			for o := range n.Descendants() {
				for _, a := range o.Attr {
					if o.Data == "option" && a.Key == "selected" {
						value = words(o)
						for _, v := range o.Attr {
							if v.Key == "value" {
								value = v.Val
							}
						}
					}
				}
			}
			out.Set(attr["name"], value)
		}
	}
	return out
}

// with are the values with others typed, a name and a value each.
func with(v url.Values, typed ...string) url.Values {
	out := url.Values{}
	for name, all := range v {
		out[name] = slices.Clone(all)
	}
	for i := 0; i+1 < len(typed); i += 2 {
		out.Set(typed[i], typed[i+1])
	}
	return out
}

// listed are the numbers of van-1's samples, the latest first.
func listed(t *testing.T, f *boardtest.Fleet) (out []string) {
	t.Helper()
	all, err := service.Sampled.Of(t.Context(), f.Service, service.Question{Vehicle: "van-1"})
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range all {
		out = append(out, l.Number)
	}
	return out
}

// TestTyped: the form begins with the last sheet's results in its order; looking stores
// nothing and shows the verdict; what is entered is stored as it was printed.
func TestTyped(t *testing.T) {
	f := fleet(t, "offer", offered)
	h := board.Handler(f.Frame)
	empty := sheetForm(t, h)
	if got := strings.Join(empty["row"], " "); got != "Fe Si KV100 TBN" {
		t.Errorf("the form begins with %s", got)
	}
	sheet := with(empty, "number", "A-5", "day", "2031-06-01", "after", "yes", "meter0", "113,500", "age", "13500", "laboratory", "valley", "method", "ICP",
		"r-Fe", "70.0", "r-Si", "5", "s-Si", "<", "r-KV100", "<13.5", "s-TBN", "nd")

	looked := boardtest.Post(t, h, engineForm, with(sheet, "do", "look"))
	if said := words(parsed(t, looked)); looked.Code != 200 || !strings.Contains(said, "Look: act on it, though not this minute.") || !strings.Contains(said, "Iron 70 mg/kg") ||
		!strings.Contains(looked.Body.String(), `value="70.0"`) {
		t.Errorf("looking: %d, %s", looked.Code, said)
	}
	if got := strings.Join(listed(t, f), " "); got != "A-4 A-3 A-2 A-1" {
		t.Errorf("looking stored something: %s", got)
	}

	late := boardtest.Post(t, h, engineForm, with(sheet, "day", "2031-04-10", "meter0", "111500", "do", "look"))
	if said := words(parsed(t, late)); late.Code != 200 || !strings.Contains(said, "There is a later sample.") || !strings.Contains(said, "Iron 70 mg/kg") {
		t.Errorf("looking at an earlier one: %d, %s", late.Code, said)
	}

	entered := boardtest.Post(t, h, engineForm, sheet)
	if to := entered.Header().Get("Location"); entered.Code != http.StatusSeeOther || to != "/v/van-1/entered/"+sheet.Get("form") {
		t.Fatalf("entering: %d, %s, %s", entered.Code, to, words(parsed(t, entered)))
	}
	followed := boardtest.Get(t, h, entered.Header().Get("Location")).Body.String()
	for _, to := range []string{"/v/van-1/samples/engine/A-5?drawn=2031-06-01", "/v/van-1", "/due"} {
		if !strings.Contains(followed, `href="`+to+`"`) {
			t.Errorf("what followed does not lead to %s", to)
		}
	}
	if w := boardtest.Get(t, h, "/v/van-1/samples/engine/A-5?drawn=2031-06-01"); w.Code != http.StatusOK {
		t.Errorf("the sample's page: %d", w.Code)
	}
	again := boardtest.Post(t, h, engineForm, sheet)
	if got := strings.Join(listed(t, f), " "); again.Code != http.StatusSeeOther || got != "A-5 A-4 A-3 A-2 A-1" {
		t.Errorf("sent twice: %d, %s", again.Code, got)
	}
	v, err := service.Samples.Of(t.Context(), f.Service, service.Question{Vehicle: "van-1", Component: "engine"})
	if err != nil || len(v) != 1 {
		t.Fatalf("%v, %v", v, err)
	}
	var got []string
	for _, r := range v[0].Results {
		got = append(got, r.Analyte+" "+r.Reported)
	}
	want := "Fe 70.0 mg/kg; Si below 5 mg/kg; KV100 below 13.5 mm2/s; TBN not detected"
	if s := strings.Join(got, "; "); s != want || v[0].Sample != (event.ID{Source: "/people/ines", ID: sheet.Get("form") + "-1"}) || v[0].Laboratory != "valley" ||
		v[0].Method != "ICP" || v[0].Drawn != "2031-06-01" || v[0].FluidAge == nil || v[0].FluidAge.Value != 13500 {
		t.Errorf("%s: %+v", s, v[0])
	}
}

// TestRows: a result is added without a script, and nothing that was typed is lost by it.
func TestRows(t *testing.T) {
	h := board.Handler(fleet(t, "offer", offered).Frame)
	added := boardtest.Post(t, h, engineForm, with(sheetForm(t, h), "r-Fe", "twelve", "number", "A-5", "more", "Pb", "do", "add"))
	v := filled(t, added)
	if got := strings.Join(v["row"], " "); added.Code != 200 || got != "Fe Si KV100 TBN Pb" || v.Get("r-Fe") != "twelve" || v.Get("number") != "A-5" ||
		v.Get("r-Pb-in") != "mg/kg" || strings.Contains(added.Body.String(), `role="alert"`) {
		t.Errorf("%d, %s, %v", added.Code, got, v)
	}
	if strings.Contains(added.Body.String(), `name="m-Fe"`) {
		t.Error("averages that no sheet has")
	}
	averages := boardtest.Post(t, h, engineForm, with(v, "do", "averages"))
	if w := filled(t, averages); !w.Has("m-Fe") || !w.Has("m-Pb") || !w.Has("averageage") || w.Get("r-Fe") != "twelve" {
		t.Errorf("averages: %v", w)
	}
}

// TestAskedBack: each slip is told beside its field, and what was typed stays there; what is
// only doubtful is asked once.
func TestAskedBack(t *testing.T) {
	f := fleet(t, "offer", strings.Replace(offered, "number A-4", "number A-4 id mine", 1))
	h := board.Handler(f.Frame)
	sheet := with(sheetForm(t, h), "number", "A-5", "day", "2031-06-01", "r-Fe", "25")
	for name, c := range map[string]struct {
		typed []string
		says  string
		sure  bool // it is only a doubt
	}{
		"no result":              {[]string{"r-Fe", ""}, "Type at least one result.", false},
		"no number":              {[]string{"number", ""}, "is missing", false},
		"no day":                 {[]string{"day", ""}, "Choose a day from", false},
		"tomorrow":               {[]string{"day", "2031-06-07"}, "Choose a day from", false},
		"no such number":         {[]string{"r-Fe", "2b"}, "“2b” is not a number", false},
		"an average alone":       {[]string{"averages", "yes", "m-Si", "8"}, "The average is there, and the result is missing.", false},
		"a decimal mark":         {[]string{"r-Fe", "2500"}, "that is far from all before: the 4 earlier samples had 8 to 23 mg/kg", true},
		"viscosities swapped":    {[]string{"r-KV100", "90"}, "that is far from all before: the 4 earlier samples had 13.6 to 13.8 mm2/s", true},
		"a unit without density": {[]string{"r-Fe-in", "mg/L"}, "this result would be kept, but not judged", true},
		"a number of others":     {[]string{"number", "A-4"}, "sheet A-4 of 1 May 2031 is there already, from", true},
		"corrects nothing":       {[]string{"corrects", "yes"}, "you entered no sheet of number A-5 for this component before", false},
	} {
		typed := with(sheet, c.typed...)
		w := boardtest.Post(t, h, engineForm, typed)
		said := words(parsed(t, w))
		back := filled(t, w)
		if w.Code != http.StatusUnprocessableEntity || !strings.Contains(strings.ToLower(said), strings.ToLower(c.says)) {
			t.Errorf("%s: %d, %s", name, w.Code, said)
		}
		for i := 0; i+1 < len(c.typed); i += 2 {
			if back.Get(c.typed[i]) != c.typed[i+1] {
				t.Errorf("%s: %s is now %q", name, c.typed[i], back.Get(c.typed[i]))
			}
		}
		if got := boardtest.Post(t, h, engineForm, with(back, "do", "look")); c.sure != (got.Code == 200 && len(listed(t, f)) == 4 && !regexp.MustCompile(`Not entered yet`).MatchString(got.Body.String())) {
			t.Errorf("%s, sent again: %d, %s", name, got.Code, words(parsed(t, got)))
		}
	}
}

// TestCorrected: a sheet that was typed in is corrected by a second of its number.
func TestCorrected(t *testing.T) {
	f := fleet(t, "offer", offered)
	h := board.Handler(f.Frame)
	if w := boardtest.Post(t, h, engineForm, with(sheetForm(t, h), "number", "A-5", "day", "2031-06-01", "r-Fe", "25")); w.Code != http.StatusSeeOther {
		t.Fatalf("%d: %s", w.Code, words(parsed(t, w)))
	}
	second := with(sheetForm(t, h), "number", "A-5", "day", "2031-06-01", "r-Fe", "26")
	if w := boardtest.Post(t, h, engineForm, second); w.Code != http.StatusUnprocessableEntity || !strings.Contains(words(parsed(t, w)), "sheet A-5 of 1 Jun 2031 is there already") &&
		!strings.Contains(words(parsed(t, w)), "Sheet A-5 of 1 Jun 2031 is there already") {
		t.Errorf("%d: %s", w.Code, words(parsed(t, w)))
	}
	if w := boardtest.Post(t, h, engineForm, with(second, "corrects", "yes")); w.Code != http.StatusSeeOther {
		t.Errorf("%d: %s", w.Code, words(parsed(t, w)))
	}
	all, err := service.Sampled.Of(t.Context(), f.Service, service.Question{Vehicle: "van-1"})
	if err != nil || len(all) != 5 || !all[0].Corrected || all[0].Revision != 1 {
		t.Errorf("%+v, %v", slices.Collect(func(yield func(sample.Line) bool) {
			for _, l := range all {
				if !yield(l) {
					return
				}
			}
		}), err)
	}
	if said := words(parsed(t, boardtest.Get(t, h, "/v/van-1/samples/engine/A-5"))); !strings.Contains(said, "This is a corrected report, revision 1") || !strings.Contains(said, "26 mg/kg") {
		t.Errorf("%s", said)
	}
}

// TestComma: who types a decimal comma is read so.
func TestComma(t *testing.T) {
	f := fleet(t, "offer", offered)
	h := board.Handler(f.Frame)
	sheet := with(sheetForm(t, h), "number", "A-5", "day", "2031-06-01", "r-Fe", "25,50", "meter0", "70.100", "meter0-in", "mi")
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:4280"+engineForm, strings.NewReader(sheet.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	r.Header.Set("Cookie", "telltale-who=gus")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	v, err := service.Samples.Of(t.Context(), f.Service, service.Question{Vehicle: "van-1", Component: "engine"})
	if err != nil || w.Code != http.StatusSeeOther || v[0].Results[0].Reported != "25.50 mg/kg" {
		t.Errorf("%d, %s, %+v", w.Code, words(parsed(t, w)), v)
	}
}

// TestKept: while the service does not answer, what was typed comes back, to be sent again.
func TestKept(t *testing.T) {
	f := fleet(t, "offer", offered)
	h := board.Handler(f.Frame)
	sheet := with(sheetForm(t, h), "number", "A-5", "day", "2031-06-01", "r-Fe", "25")
	gone, err := service.Start(t.Context(), f.Log, service.Config{Program: "test", Share: true})
	if err == nil {
		err = gone.Stop()
	}
	if err != nil {
		t.Fatal(err)
	}
	f.Frame.Service = gone
	w := boardtest.Post(t, board.Handler(f.Frame), engineForm, sheet)
	back := filled(t, w)
	for name := range sheet {
		if !slices.Equal(back[name], sheet[name]) {
			t.Errorf("%s is now %q", name, back[name])
		}
	}
	if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "Send it again") {
		t.Errorf("%d: %s", w.Code, words(parsed(t, w)))
	}
}
