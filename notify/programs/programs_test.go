package programs

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
	"pgregory.net/rapid"

	"telltale/engine/intake"
	"telltale/engine/stream/server/accounts"
	"telltale/notify/people"
)

func key(t *testing.T) string {
	t.Helper()
	k, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	p, err := k.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func directory(t interface{ Fatal(...any) }, text string) *people.Directory {
	d, err := people.Parse("people.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func vehicle(id, depot string, was ...string) Vehicle {
	return Vehicle{people.Vehicle{ID: id, Name: id, Tags: map[string]string{"depot": depot}}, append([]string{id}, was...)}
}

// TestServerLetsThroughWhatIsSaid: of the text that the server reads, each program may
// publish exactly the kinds that `sends` says of the vehicles for which `where` holds, under
// each of their names, and nothing else.
func TestServerLetsThroughWhatIsSaid(t *testing.T) {
	keys := []string{key(t), key(t), key(t), key(t), key(t)}
	rapid.Check(t, func(t *rapid.T) {
		var fleet []Vehicle
		for i := range rapid.IntRange(0, 6).Draw(t, "vehicles") {
			v := vehicle(fmt.Sprintf("%s%d", rapid.SampledFrom([]string{"bus-", "van ", "büs.", "x*", "y>"}).Draw(t, "name"), i), rapid.SampledFrom([]string{"north", "hills"}).Draw(t, "depot"))
			if rapid.Bool().Draw(t, "renamed") {
				v.Names = append(v.Names, fmt.Sprint("was ", i))
			}
			fleet = append(fleet, v)
		}
		text := "programs:\n"
		for i, k := range keys[:3] {
			text += fmt.Sprintf("  p%d: {key: %s, sends: %v", i, k, "["+strings.Join(rapid.SliceOfNDistinct(rapid.SampledFrom(people.Kinds()), 1, 3, rapid.ID[string]).Draw(t, "sends"), ", ")+"]")
			if where := rapid.SampledFrom([]string{"", `vehicle.tags["depot"] == "north"`, `vehicle.id startsWith "bus"`}).Draw(t, "where"); where != "" {
				text += ", where: '" + where + "'"
			}
			text += "}\n"
		}
		d := directory(t, text)
		rights, over := Subjects(d.Programs(), fleet)
		if over != nil {
			t.Fatal(over)
		}
		var o natsserver.Options
		if err := o.ProcessConfigString(accounts.Text(accounts.Users{Service: keys[3], Operator: keys[4]}, rights)); err != nil {
			t.Fatal(err)
		}
		for _, p := range d.Programs() {
			u := o.Nkeys[slices.IndexFunc(o.Nkeys, func(u *natsserver.NkeyUser) bool { return u.Nkey == p.Key })]
			for _, v := range append(fleet, vehicle("nobody's", "north")) {
				registered := v.ID != "nobody's"
				for _, name := range v.Names {
					for _, kind := range append(people.Kinds(), "tick") {
						want := p.MaySend(kind, v.Vehicle) && (registered || p.Where == "")
						if got := lets(u, "telltale.in."+intake.Token(name)+"."+kind); got != want {
							t.Fatalf("%s\n%s may send %s of %q: %t, want %t", text, p.ID, kind, name, got, want)
						}
					}
				}
			}
			for _, never := range []string{"telltale.event.3.bus-07.reading", "telltale.query.due", "telltale.in.reading", "telltale.all.tick", "$JS.API.INFO", "_INBOX.x"} {
				if lets(u, never) {
					t.Fatalf("%s may publish to %s", p.ID, never)
				}
			}
		}
	})
}

// lets reports whether a user may publish to the subject.
func lets(u *natsserver.NkeyUser, subject string) bool {
	p := u.Permissions.Publish
	matches := func(pattern string) bool { return natsserver.SubjectsCollide(pattern, subject) }
	return slices.ContainsFunc(p.Allow, matches) && !slices.ContainsFunc(p.Deny, matches)
}

// TestTooMany: where all programs have too many vehicles, those with the most may send
// nothing; none may send more than is said.
func TestTooMany(t *testing.T) {
	d := directory(t, fmt.Sprintf("programs:\n  all: {key: %s, sends: [reading, sample]}\n  few: {key: %s, sends: [reading], where: 'vehicle.tags[\"depot\"] == \"hills\"'}\n  many: {key: %s, sends: [reading], where: 'vehicle.id != \"x\"'}\n", key(t), key(t), key(t)))
	fleet := []Vehicle{vehicle("a", "north"), vehicle("b", "north"), vehicle("c", "hills")}
	for _, tt := range []struct {
		most int
		want string
	}{
		{6, "all [telltale.in.*.reading telltale.in.*.sample]; few [telltale.in.c.reading]; many [telltale.in.a.reading telltale.in.b.reading telltale.in.c.reading]; over []"},
		{5, "all [telltale.in.*.reading telltale.in.*.sample]; few [telltale.in.c.reading]; many []; over [many]"},
		{1, "all []; few [telltale.in.c.reading]; many []; over [all many]"},
	} {
		rights, over := subjects(d.Programs(), fleet, tt.most)
		var got string
		for _, p := range rights {
			got += fmt.Sprint(p.Name, " ", p.Publishes, "; ")
		}
		if got += fmt.Sprint("over ", over); got != tt.want {
			t.Errorf("of %d: got %s\nwant %s", tt.most, got, tt.want)
		}
	}
}

func TestWhy(t *testing.T) {
	d := directory(t, fmt.Sprintf("programs:\n  all: {key: %s, sends: [sample]}\n  g: {key: %s, sends: [reading, sample], where: 'vehicle.tags[\"depot\"] == \"north\"'}\n  o: {key: %s, operator: yes}\n  q: {key: %s, asks: yes}\n", key(t), key(t), key(t), key(t)))
	fleet := []Vehicle{vehicle("bus-07", "north", "old 7"), vehicle("bus-09", "hills")}
	p := d.Programs()
	for _, tt := range []struct {
		p       *people.Program
		subject string
		hear    bool
		want    string
	}{
		{nil, "", false, "no program in people.yaml has its key"},
		{nil, "telltale.all.tick", false, "only the service itself may"},
		{p[2], "telltale.all.tick", false, "only the service itself writes there"},
		{p[1], "telltale.>", true, "a program hears only the answers to what it sends or asks (_INBOX.>)"},
		{p[1], "telltale.query.due", false, "it may not ask; people.yaml does not say `asks: yes`"},
		{p[1], "telltale.all.tick", false, "a program sends events alone, to telltale.in.<vehicle>.<kind>"},
		{p[1], "telltale.in.bus-07.a.b", false, "a program sends events alone, to telltale.in.<vehicle>.<kind>"},
		{p[1], "telltale.in.bus-07.service", false, "it may send reading and sample, not service"},
		{p[3], "telltale.in.bus-07.service", false, "it may send questions, not service"},
		{p[1], "telltale.in.bus=2D07.reading", false, `vehicle token: "bus=2D07" is spelt "bus-07"`},
		{p[1], "telltale.in.bus-08.reading", false, "no vehicle bus-08 is registered, and with `where` it sends of registered ones alone"},
		{p[1], "telltale.in.bus-09.reading", false, "`where` does not hold for bus-09: vehicle.tags[\"depot\"] == \"north\""},
		{p[1], "telltale.in.old=207.reading", false, "its rights were changing at that moment, or all programs together have too many vehicles"},
		{p[0], "telltale.in.bus-08.sample", false, "its rights were changing at that moment; the next try will be taken"},
	} {
		if got := Why(tt.p, tt.subject, tt.hear, fleet); got != tt.want {
			t.Errorf("%s: got %s, want %s", tt.subject, got, tt.want)
		}
	}
}

func TestTokens(t *testing.T) {
	a, lineA := NewToken()
	b, lineB := NewToken()
	if len(a) != 46 || !strings.HasPrefix(a, "tt_") || a == b || strings.Contains(lineA, a) {
		t.Errorf("the tokens are %s and %s, known by %s", a, b, lineA)
	}
	known := Tokens{}
	for id, line := range map[string]string{"a": lineA + "\n", "b": lineB} {
		d, err := ReadDigest(line)
		if err != nil {
			t.Fatal(err)
		}
		known[id] = d
	}
	for token, want := range map[string]string{a: "a", b: "b", "": "", a[:45]: "", a + "x": "", strings.ToUpper(a): "", lineA: ""} {
		if got := known.Whose(token); got != want {
			t.Errorf("%q is the token of %q, want %q", token, got, want)
		}
	}
	for text, want := range map[string]string{
		a:               "it holds the token itself, where the line with its SHA-256 belongs; make a new one",
		"":              "it does not hold one line of sha256: and 64 hex digits",
		lineA[7:]:       "it does not hold one line of sha256: and 64 hex digits",
		lineA + "00":    "it does not hold one line of sha256: and 64 hex digits",
		"sha256:" + "g": "it does not hold one line of sha256: and 64 hex digits",
	} {
		if _, err := ReadDigest(text); err == nil || err.Error() != want {
			t.Errorf("%q: got %v, want %s", text, err, want)
		}
	}
}
