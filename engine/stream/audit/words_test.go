package audit

import "testing"

// TestSays writes entries as people read them.
func TestSays(t *testing.T) {
	for _, tt := range []struct {
		e            Entry
		who, vehicle string
		want         string
	}{
		{Entry{What: Work, Outcome: Done}, "Ines Thornbeck", "Bus 7", "Ines Thornbeck entered work on Bus 7."},
		{Entry{What: SignIn, Outcome: Done}, "Ines Thornbeck", "", "Ines Thornbeck signed in."},
		{Entry{What: SignIn, Outcome: Refused}, Called(""), "", "Somebody wanted to sign in and was refused."},
		{Entry{What: Looked, Outcome: Refused}, Called("/people/tom"), "Bus 7", "Tom wanted to look at a page of Bus 7 and was refused."},
		{Entry{What: Export, Outcome: Failed}, Called("/devices/north-bay-2"), "", "The tablet north-bay-2 wanted to save a file, and it did not work."},
		{Entry{What: "unheard-of", Outcome: Done}, Called("/programs/gateway-3"), "Bus 7", "The program gateway-3 did: unheard-of for Bus 7."},
		{Entry{What: Rules, Outcome: Done}, Called("/workshop"), "", "/workshop put rules into force."},
	} {
		if got := tt.e.Says(tt.who, tt.vehicle); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
	for _, k := range Kinds() {
		if k == "" || k.Deed() == "" || token(string(k)) != string(k) {
			t.Errorf("kind %q is no token, or has no words", k)
		}
	}
}
