// Package keys has the commands for programs that speak to the service: making a key or a
// token, listing what each may, and what to take out to keep one out. They write no file of
// the folder: people.yaml is a person's.
package keys

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/server/accounts"
	"telltale/notify/people"
	"telltale/notify/programs"
	"telltale/notify/programs/gate"
	"telltale/rules/english"
)

// Command is programs, with the commands under it.
func Command(s cli.Env) *cobra.Command {
	var dir string
	var config bool
	cmd := &cobra.Command{
		Use:   "programs",
		Short: "Let gateways and other programs speak to the service, and list what each may",
		Long: `Gateways, laboratories' computers and other programs sign in by a key over NATS, or send
over HTTP with a token. Which there are, which events each may send and of which vehicles
stands under programs in people.yaml. Once it stands there, nobody gets in over NATS
without a key.

With --nats-config, print what a NATS server of yours needs to know of them.`,
		Example: `  telltale programs add gateway-3 --sends reading
  telltale programs list --dir fleet
  telltale programs --nats-config --dir fleet`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if config {
				return natsConfig(s, dir)
			}
			return cmd.Help()
		},
	}
	cmd.Flags().StringVar(&dir, "dir", ".", "folder with people.yaml and vehicles.yaml")
	cmd.Flags().BoolVar(&config, "nats-config", false, "print the accounts for a NATS server of yours")
	cmd.AddCommand(addCommand(s), listCommand(s), removeCommand(s))
	return cmd
}

// folder is what a folder says of its programs.
type folder struct {
	dir      string
	people   *people.Directory
	vehicles []programs.Vehicle
}

func load(dir string) (*folder, error) {
	f := &folder{dir: dir}
	var err error
	if f.people, err = people.Load(filepath.Join(dir, "people.yaml")); err != nil {
		return nil, cli.Exit(2, err)
	}
	if path := filepath.Join(dir, "vehicles.yaml"); cli.Exists(path) {
		register, err := cli.Texts(nil).Register(path, stream.Unclocked)
		if err != nil {
			return nil, cli.Exit(2, err)
		}
		f.vehicles = gate.Vehicles(register)
	}
	return f, nil
}

// listed is a program as it is listed.
type listed struct {
	Program  string   `json:"program"`
	Key      string   `json:"key,omitempty"`
	Token    string   `json:"tokenFile,omitempty"`
	Sends    []string `json:"sends,omitempty"`
	Where    string   `json:"where,omitempty"`
	Vehicles int      `json:"vehicles"` // those that are registered in the folder, and that it may send of
	Asks     bool     `json:"asks,omitempty"`
	Operator bool     `json:"operator,omitempty"`
}

func listCommand(s cli.Env) *cobra.Command {
	var dir string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the programs of people.yaml, and what each may",
		Long: `List the programs of people.yaml and what each may send, of how many of the vehicles in
vehicles.yaml. Which are connected, and what was refused to them, is on the board.`,
		Example: `  telltale programs list --dir fleet
  telltale programs list --dir fleet --json`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			f, err := load(dir)
			if err != nil {
				return err
			}
			var list []listed
			for _, p := range f.people.Programs() {
				l := listed{p.ID, p.Key, p.TokenFile, p.Sends, p.Where, 0, p.Asks, p.Operator}
				for _, v := range f.vehicles {
					if p.Speaks(v.Vehicle) {
						l.Vehicles++
					}
				}
				list = append(list, l)
			}
			nothing := "people.yaml names no programs, so whoever reaches the NATS server may send and ask; to name one: telltale programs add gateway-1"
			if f.people.Closed() {
				nothing = "people.yaml lets no program in; to name one: telltale programs add gateway-1"
			}
			return cli.Listing(s, asJSON, list, nil, nothing, line)
		},
	}
	cmd.Flags().StringVar(&dir, "dir", ".", "folder with people.yaml and vehicles.yaml")
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	return cmd
}

// line is a program on a line.
func line(l listed) string {
	by := "token"
	if l.Key != "" {
		by = programs.Short(l.Key)
	}
	var may []string
	switch {
	case l.Operator:
		may = append(may, "everything, as an operator")
	case l.Where != "":
		may = append(may, fmt.Sprintf("sends %s of %s, where %s", english.List("and", l.Sends), english.Plural(l.Vehicles, "vehicle"), l.Where))
	case l.Sends != nil:
		may = append(may, fmt.Sprintf("sends %s of all vehicles", english.List("and", l.Sends)))
	}
	if l.Asks {
		may = append(may, "asks")
	}
	return fmt.Sprintf("%-20s %-12s %s", l.Program, by, strings.Join(may, "; "))
}

func removeCommand(s cli.Env) *cobra.Command {
	var dir string
	cmd := &cobra.Command{
		Use:   "remove NAME",
		Short: "Show what to take out of people.yaml to keep a program out",
		Long: `Show the lines of people.yaml that let a program in. Once they are taken out and the file
is saved, the service ends its connections and lets it in no more; all others stay
connected.`,
		Example: `  telltale programs remove gateway-3 --dir fleet`,
		Args:    cli.Wants(1, 1, "which program?", "telltale programs remove gateway-3 --dir fleet"),
		RunE: func(_ *cobra.Command, args []string) error {
			f, err := load(dir)
			if err != nil {
				return err
			}
			return remove(s, f, args[0])
		},
	}
	cmd.Flags().StringVar(&dir, "dir", ".", "folder with people.yaml")
	return cmd
}

func remove(s cli.Env, f *folder, id string) error {
	i := slices.IndexFunc(f.people.Programs(), func(p *people.Program) bool { return p.ID == id })
	if i < 0 {
		return cli.Hint(fmt.Errorf("people.yaml names no program %q", id), "telltale programs list --dir "+f.dir)
	}
	path := filepath.Join(f.dir, "people.yaml")
	text, err := cli.Texts(nil).Read(path)
	if err != nil {
		return err
	}
	lines := strings.Split(string(text), "\n")
	first, last := f.people.LinesOf(id)
	fmt.Fprintf(s.Err, "take these lines out of %s; the service cuts the program off when the file is saved:\n", path)
	for n := first; n <= last; n++ {
		fmt.Fprintf(s.Out, "%s\n", cli.Printable(lines[n-1]))
	}
	p := f.people.Programs()[i]
	if p.TokenFile != "" {
		fmt.Fprintf(s.Err, "and remove %s\n", p.TokenFile)
	}
	if len(f.people.Programs()) == 1 {
		fmt.Fprintf(s.Err, "it is the only one: write programs: {} to go on letting nobody in without a key\n")
	}
	return nil
}

// natsConfig prints the accounts for a server that the service joins.
func natsConfig(s cli.Env, dir string) error {
	f, err := load(dir)
	if err != nil {
		return err
	}
	set, err := s.Settings(dir)
	if err != nil {
		return cli.Exit(2, err)
	}
	if !f.people.Closed() {
		return cli.Exit(2, cli.Hint(errors.New("people.yaml names no programs"), "telltale programs add gateway-1 makes a key for one"))
	}
	key := cmp.Or(set.Key, server.OperatorKey(dir))
	service, err := server.PublicKey(key)
	if err != nil {
		return cli.Exit(2, err)
	}
	list, over := programs.Subjects(f.people.Programs(), f.vehicles)
	if over != nil {
		return cli.Hint(fmt.Errorf("programs with too many vehicles: %s", strings.Join(over, ", ")), "leave out `where` of some of them")
	}
	fmt.Fprint(s.Out, accounts.Text(accounts.Users{Service: service}, list))
	fmt.Fprintf(s.Err, "put this into your NATS server's configuration, and again whenever people.yaml or vehicles.yaml changes what a program may\n")
	if set.Key == "" {
		fmt.Fprintf(s.Err, "the service signs in by the key in %s: write nats key file: operator.nk into %s\n", key, filepath.Join(dir, "telltale.yaml"))
	}
	return nil
}
