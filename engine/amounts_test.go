package engine_test

import (
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"strings"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/rules/unit"
)

var overseas = unit.System{Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"}

// metres finds what nobody who thinks in miles should read.
var metres = regexp.MustCompile(`[0-9] ?(km|L|degC)\b`)

// checkWorded writes a line into a story, which then fails, where what was said holds a
// quantity that nobody wrote out, or does not say the same to its reader again after
// another one read it.
func checkWorded(w io.Writer, o engine.Output) {
	text, err := json.Marshal(o)
	if err != nil || strings.Contains(string(text), `\u0002`) {
		fmt.Fprintf(w, "not written out: %s %v\n", text, err)
	}
	if o.Transition == nil {
		return
	}
	kept, err := json.Marshal(o.Transition)
	var stored alarm.Transition
	if err == nil {
		err = json.Unmarshal(kept, &stored)
	}
	if err != nil {
		fmt.Fprintf(w, "not read back: %s: %v\n", kept, err)
	}
	there := stored.Worded(overseas)
	if back := there.Worded(unit.Metric); !reflect.DeepEqual(*back, *stored.Worded(unit.Metric)) {
		fmt.Fprintf(w, "back from miles: %+v\n", back)
	}
	if strings.Contains(o.Transition.Rule, "data:") || o.Transition.Task {
		for _, text := range []string{there.Message, there.Advise} {
			if m := metres.FindString(text); m != "" {
				fmt.Fprintf(w, "in miles: %s\n", text)
			}
		}
	}
}
