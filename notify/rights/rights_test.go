package rights

import (
	"fmt"
	"strings"
	"testing"
)

// TestTable holds each cell of the table as people read it.
func TestTable(t *testing.T) {
	const want = `
                                           look    driver  keeper  workshop operator
sign in                                    yes     yes     yes     yes     yes
come in                                    yes     yes     yes     yes     yes
see what stands                            yes     yes     yes     yes     yes
look at everything of it                   yes     -       yes     yes     yes
enter readings                             -       yes     yes     yes     yes
enter work                                 -       -       yes     yes     yes
enter samples                              -       -       -       yes     yes
enter tables                               -       -       -       yes     yes
acknowledge alarms                         -       -       yes     yes     yes
put alarms aside                           -       -       yes     yes     yes
put warnings aside                         -       -       yes     -       yes
postpone work and accept offers            -       -       yes     yes     yes
take it out of service and back            -       -       yes     -       yes
take back own entries of the day           -       yes     yes     yes     yes
take back own entries                      -       -       yes     yes     yes
take back anyone's entries                 -       -       -       -       yes
look at how the service runs               -       -       -       -       yes
sign others out and pair tablets           -       -       -       -       yes
`
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-42s", "")
	for _, r := range Roles() {
		fmt.Fprintf(&b, " %-7s", r)
	}
	for _, v := range Verbs() {
		fmt.Fprintf(&b, "\n%-42s", v)
		for r := range Roles() {
			fmt.Fprintf(&b, " %-7s", map[bool]string{true: "yes", false: "-"}[Allows(Role(r), v)])
		}
	}
	got := b.String() + "\n"
	trim := func(s string) string {
		lines := strings.Split(s, "\n")
		for i := range lines {
			lines[i] = strings.Join(strings.Fields(lines[i]), " ")
		}
		return strings.Join(lines, "\n")
	}
	if trim(got) != trim(want) {
		t.Errorf("the table is\n%s", got)
	}
}

// TestRolesGrow: who may do more is never refused what who may do less is allowed, but for
// what a workshop knows and a keeper decides.
func TestRolesGrow(t *testing.T) {
	for _, pair := range [][2]Role{{Look, Keeper}, {Look, Workshop}, {Driver, Keeper}, {Driver, Workshop}, {Keeper, Operator}, {Workshop, Operator}} {
		for _, v := range Verbs() {
			if Allows(pair[0], v) && !Allows(pair[1], v) {
				t.Errorf("%s may %s, and %s may not", pair[0], v, pair[1])
			}
		}
	}
}
