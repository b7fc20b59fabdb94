package accounts

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files anew")

var some = []Program{
	{Name: "valley", Key: "UB", Publishes: []string{"telltale.in.*.sample"}},
	{Name: "gateway-3", Key: "UA", Publishes: []string{"telltale.in.bus-07.reading", "telltale.in.van=201.reading"}},
	{Name: "office", Key: "UC", Publishes: []string{"telltale.in.*.service"}, Asks: true},
	{Name: "none", Key: "UD"},
	{Name: "ines", Key: "UE", Operator: true},
}

// TestText holds the text to what stands in testdata, with and without people who come
// without a key.
func TestText(t *testing.T) {
	for _, tt := range []struct {
		name     string
		users    Users
		programs []Program
	}{
		{"closed", Users{Service: "US", Operator: "UO"}, some},
		{"open", Users{Service: "US", Operator: "UO", Anyone: "UN"}, nil},
		{"shut", Users{Service: "US", Operator: "UO", Anyone: "UN", Shut: true}, some},
	} {
		got, path := Text(tt.users, tt.programs), "testdata/"+tt.name+".conf"
		if *update {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil || got != string(want) {
			t.Errorf("%s (%v; write it anew with -update):\n%s", path, err, got)
		}
	}
}

// TestTextSaysWhatWasSaid: whatever programs there are, the server reads from the text for
// each key the subjects that its program was given, and no other user.
func TestTextSaysWhatWasSaid(t *testing.T) {
	key := func() string {
		k, err := nkeys.CreateUser()
		if err != nil {
			t.Fatal(err)
		}
		p, _ := k.PublicKey()
		return p
	}
	keys := make([]string, 8)
	for i := range keys {
		keys[i] = key()
	}
	rapid.Check(t, func(t *rapid.T) {
		users := Users{Service: keys[0], Operator: keys[1]}
		if rapid.Bool().Draw(t, "open") {
			users.Anyone, users.Shut = keys[2], rapid.Bool().Draw(t, "shut")
		}
		token := rapid.StringMatching(`[A-Za-z0-9_=-]{1,12}|\*`)
		var programs []Program
		for i, k := range keys[3 : 3+rapid.IntRange(0, 5).Draw(t, "programs")] {
			p := Program{Name: fmt.Sprint("p", i), Key: k, Asks: rapid.Bool().Draw(t, "asks"), Operator: rapid.Bool().Draw(t, "operator")}
			for range rapid.IntRange(0, 4).Draw(t, "subjects") {
				p.Publishes = append(p.Publishes, "telltale.in."+token.Draw(t, "vehicle")+"."+rapid.SampledFrom([]string{"reading", "sample"}).Draw(t, "kind"))
			}
			programs = append(programs, p)
		}
		var o natsserver.Options
		if err := o.ProcessConfigString(Text(users, programs)); err != nil {
			t.Fatal(err)
		}
		if o.NoAuthUser != users.Anyone {
			t.Fatalf("without a key one is %q, want %q", o.NoAuthUser, users.Anyone)
		}
		got := map[string]string{}
		for _, u := range o.Nkeys {
			got[u.Nkey] = said(u)
		}
		want := map[string]string{users.Service: Own + " may all"}
		want[users.Operator] = fmt.Sprintf("%s not %q, hears not %q", Own, DeniedOperator, Unheard)
		if users.Anyone != "" {
			want[users.Anyone] = fmt.Sprintf("%s not %q, hears not %q", Own, Denied, Unheard)
		}
		if users.Anyone != "" && users.Shut {
			want[users.Anyone] = "no client"
		}
		for _, p := range programs {
			account, subjects := Gateways, p.Publishes
			if p.Asks {
				account, subjects = Askers, append(slices.Clone(p.Publishes), "telltale.query.>")
			}
			want[p.Key] = fmt.Sprintf("%s only %q, hears %q", account, subjects, []string{Inboxes})
			if p.Asks {
				want[p.Key] = fmt.Sprintf("%s only %q not %q, hears %q", account, subjects, unasked, []string{Inboxes})
			}
			if p.Operator {
				want[p.Key] = want[users.Operator]
			} else if len(subjects) == 0 {
				want[p.Key] = fmt.Sprintf("%s not %q, hears %q", account, []string{">"}, []string{Inboxes})
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("got  %v\nwant %v", got, want)
		}
	})
}

// said is what a user may do.
func said(u *natsserver.NkeyUser) string {
	if _, client := u.AllowedConnectionTypes["STANDARD"]; u.AllowedConnectionTypes != nil && !client {
		return "no client"
	}
	if u.Permissions == nil {
		return u.Account.Name + " may all"
	}
	var b strings.Builder
	b.WriteString(u.Account.Name)
	if p := u.Permissions.Publish; p != nil && p.Allow != nil {
		fmt.Fprintf(&b, " only %q", p.Allow)
	}
	if p := u.Permissions.Publish; p != nil && p.Deny != nil {
		fmt.Fprintf(&b, " not %q", p.Deny)
	}
	if s := u.Permissions.Subscribe; s != nil && s.Allow != nil {
		fmt.Fprintf(&b, ", hears %q", s.Allow)
	} else if s != nil {
		fmt.Fprintf(&b, ", hears not %q", s.Deny)
	}
	return b.String()
}
