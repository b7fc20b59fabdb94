package sight

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"telltale/engine/event"
)

// TestRead: a text is read once and kept among the latest; what cannot be read shows nothing,
// and says so each time.
func TestRead(t *testing.T) {
	read := map[string]int{}
	r := New(func(text string) (Sees, error) {
		read[text]++
		switch text {
		case "bad":
			return nil, errors.New("no such word")
		case "empty":
			return nil, nil
		}
		return func(home string, _ *event.VehicleData) bool { return home == text }, nil
	})
	for range 3 {
		if sees, err := r.Of("bus-07"); err != nil || !sees("bus-07", nil) || sees("bus-12", nil) {
			t.Fatalf("bus-07 is read as %v", err)
		}
		for _, text := range []string{"bad", "empty", strings.Repeat("x", mostText+1)} {
			if sees, err := r.Of(text); sees != nil || err == nil {
				t.Fatalf("%.10q is read", text)
			}
		}
	}
	if sees, err := r.Of(""); sees != nil || err != nil {
		t.Fatalf("nothing is read as %v", err)
	}
	for i := range mostKept - 1 {
		for _, text := range []string{fmt.Sprint(i), "bus-07"} {
			if _, err := r.Of(text); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, text := range []string{"one more", "bus-07", "0"} {
		if sees, err := r.Of(text); err != nil || !sees(text, nil) {
			t.Fatalf("%s: %v", text, err)
		}
	}
	if read["bus-07"] != 1 || read["bad"] != 3 || read["1"] != 1 || read["0"] != 2 || len(r.kept) != mostKept {
		t.Errorf("bus-07 was read %d times, a bad one %d, one kept %d, one let go %d; %d are kept", read["bus-07"], read["bad"], read["1"], read["0"], len(r.kept))
	}
}

// TestNoReader: where nobody reads, nobody sees.
func TestNoReader(t *testing.T) {
	for _, r := range []*Reader{nil, New(nil)} {
		if sees, err := r.Of("bus-07"); sees != nil || err == nil {
			t.Error("it is read by nobody")
		}
		if _, err := r.Of(""); err != nil {
			t.Error(err)
		}
	}
}
