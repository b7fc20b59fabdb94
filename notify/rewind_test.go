package notify

import (
	"slices"
	"testing"

	"telltale/notify/delivery"
)

// TestRewind has the log of transitions go back to its first messages. What comes
// then is told, though the notifier has handled other messages in its place.
func TestRewind(t *testing.T) {
	m := &delivery.Memory{}
	n, next := newNotifier(t, m, 2)
	log := aLog()
	for i, l := range log[:1] {
		if err := n.Handle(t.Context(), uint64(i)+next, l.c, l.out); err != nil {
			t.Fatal(err)
		}
	}
	n.mark.Done = 9
	if err := n.Flush(t.Context(), 9); err != nil {
		t.Fatal(err)
	}
	for _, rewound := range []bool{false, true} {
		n, next = newNotifier(t, m, 2)
		if next != 10 {
			t.Fatalf("goes on at %d, want 10", next)
		}
		if rewound {
			n.Rewind(2)
		}
		if err := n.Handle(t.Context(), 3, log[4].c, log[4].out); err != nil {
			t.Fatal(err)
		}
		const news = "ines waiting Overdue: Bus 7, Roadworthiness inspection"
		if got := slices.Contains(stored(t, m), news); got != rewound {
			t.Errorf("rewound %t: told %t", rewound, got)
		}
	}
}
