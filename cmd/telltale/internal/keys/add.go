package keys

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/nats-io/nkeys"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/notify/people"
	"telltale/notify/programs"
)

type adding struct {
	dir                   string
	sends                 []string
	where                 string
	asks, operator, token bool
}

func addCommand(s cli.Env) *cobra.Command {
	var o adding
	cmd := &cobra.Command{
		Use:   "add NAME",
		Short: "Make a key or a token for a program, and the lines for people.yaml",
		Long: `Make a key for a program, or a token with --token, and print it with the lines for
people.yaml. The secret is shown this once and kept nowhere: give it to the program alone.
No file is written.`,
		Example: `  telltale programs add gateway-3 --sends reading
  telltale programs add gateway-3 --sends reading --where 'vehicle.tags["depot"] == "north"'
  telltale programs add till --token --sends service,reading
  telltale programs add ines-laptop --operator`,
		Args: cli.Wants(1, 1, "which name shall it have?", "telltale programs add gateway-3 --sends reading"),
		RunE: func(_ *cobra.Command, args []string) error { return o.run(s, args[0]) },
	}
	cmd.Flags().StringVar(&o.dir, "dir", "", "folder whose people.yaml must not have the name yet")
	cmd.Flags().StringSliceVar(&o.sends, "sends", nil, "kinds of events that it may send: "+strings.Join(people.Kinds(), ", ")+" (default reading)")
	cmd.Flags().StringVar(&o.where, "where", "", "condition on the vehicles of which it may send (default: all)")
	cmd.Flags().BoolVar(&o.asks, "asks", false, "it may also ask questions")
	cmd.Flags().BoolVar(&o.operator, "operator", false, "it may do everything: for the key of a person who uses the command line from elsewhere")
	cmd.Flags().BoolVar(&o.token, "token", false, "make a token for HTTP instead of a key for NATS")
	return cmd
}

func (o *adding) run(s cli.Env, name string) error {
	if err := o.free(name); err != nil {
		return err
	}
	if o.sends == nil && !o.asks && !o.operator {
		o.sends = []string{"reading"}
	}
	secret, entry, file, err := o.secret(name)
	if err != nil {
		return err
	}
	lines := o.lines(name, entry)
	if _, err := people.Parse("people.yaml", []byte(lines)); err != nil {
		return cli.Exit(2, err)
	}
	what, kept := "the secret half of its key, by which it signs in over NATS", name+".nk"
	if o.token {
		what, kept = "its token, by which it sends over HTTP", name+".token"
	}
	fmt.Fprintf(s.Err, "%s; it is shown this once: keep it in a file that %s alone can read, such as %s:\n", what, name, kept)
	fmt.Fprintln(s.Out, secret)
	if file != "" {
		fmt.Fprintf(s.Err, "into the file tokens/%s.sha256 in the service's folder:\n", name)
		fmt.Fprintln(s.Out, file)
	}
	fmt.Fprintln(s.Err, "into people.yaml; without the first line if it has programs already:")
	fmt.Fprint(s.Out, lines)
	return nil
}

// free looks whether the folder's people.yaml has the name already.
func (o *adding) free(name string) error {
	if o.dir == "" {
		return nil
	}
	d, err := people.Load(filepath.Join(o.dir, "people.yaml"))
	if err != nil {
		return cli.Exit(2, err)
	}
	if slices.ContainsFunc(d.Programs(), func(p *people.Program) bool { return p.ID == name }) {
		return cli.Exit(2, cli.Hint(fmt.Errorf("people.yaml has a program %q already", name), "choose another name, or take that one out first: telltale programs remove "+name+" --dir "+o.dir))
	}
	return nil
}

// secret makes what the program keeps, what stands of it in people.yaml and, of a token, in
// its file.
func (o *adding) secret(name string) (secret, entry, file string, err error) {
	if o.token {
		token, line := programs.NewToken()
		return token, "token file: tokens/" + name + ".sha256", line, nil
	}
	key, err := nkeys.CreateUser()
	if err != nil {
		return "", "", "", fmt.Errorf("making a key: %w", err)
	}
	defer key.Wipe()
	public, err := key.PublicKey()
	seed, bad := key.Seed()
	if err = errors.Join(err, bad); err != nil {
		return "", "", "", fmt.Errorf("making a key: %w", err)
	}
	return string(seed), "key: " + public, "", nil
}

// lines are those for people.yaml.
func (o *adding) lines(name, entry string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "programs:\n  %s:\n    %s\n", name, entry)
	if o.sends != nil {
		fmt.Fprintf(&b, "    sends: [%s]\n", strings.Join(o.sends, ", "))
	}
	if o.where != "" {
		fmt.Fprintf(&b, "    where: '%s'\n", strings.ReplaceAll(o.where, "'", "''"))
	}
	if o.asks {
		b.WriteString("    asks: yes\n")
	}
	if o.operator {
		b.WriteString("    operator: yes\n")
	}
	return b.String()
}
