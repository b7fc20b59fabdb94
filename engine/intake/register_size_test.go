package intake_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"telltale/engine/intake"
)

// TestRegisterOfThousands: a register may be longer than a file of rules.
func TestRegisterOfThousands(t *testing.T) {
	const n = 5000
	var b strings.Builder
	b.WriteString("vehicles:\n")
	for i := range n {
		fmt.Fprintf(&b, "  bus-%d: {name: Bus %d, kind: minibus, meters: {odometer: distance}, components: {engine: {kind: diesel engine, fluid: 15W-40}}}\n", i, i)
	}
	events, err := intake.Register("vehicles.yaml", []byte(b.String()), time.Unix(0, 0))
	if err != nil || len(events) != n {
		t.Errorf("%d vehicles (%.200v), want %d", len(events), err, n)
	}
}
