package ask

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/chart"
	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/stream/service"
	"telltale/rules/english"
)

func sampleCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var o replayOptions
	var picture, analyte, number string
	cmd := &cobra.Command{
		Use:   "sample VEHICLE [COMPONENT]",
		Short: "Explain a fluid sample of a vehicle, by default the latest",
		Long: `Explain the latest fluid sample of each component of a vehicle, or of one component: normal,
or the worst stage with its three strongest reasons; what to do and which cautions apply;
likely sources of unusual metals; what recent work changed; which limit the fluid reaches
first; each result with what it was compared with; and which checks could not be made.

--number explains an earlier sample, as if it were the latest: by the rules in force now,
with the samples and the work up to it.

--analyte shows how much of one analyte the component produced up to each sample, compared
with its own earlier samples (a control chart).

The running service answers; with --rules, a file of events is run instead.`,
		Example: `  telltale sample bus-07
  telltale sample bus-07 transmission --number L-1001
  telltale sample bus-07 transmission --analyte copper --chart copper.svg
  telltale sample bus-07 transmission --rules fleet/rules --vehicles fleet/vehicles.yaml events.jsonl`,
		Args: cli.Wants(1, 3, "which vehicle?", "telltale sample bus-07"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.json = c.JSON
			args, file, err := o.split(args, 1, 2, "sample")
			if err != nil {
				return err
			}
			show := func(list []sample.Verdict) error {
				if analyte != "" {
					return chartAnswer(s, c.JSON, list, args[0], number, analyte, picture)
				}
				return verdictAnswer(s, c.JSON, list, args[0], number, picture)
			}
			if file != "" {
				list, err := o.samplesIn(s, file, args[0], arg(args, 1), number)
				if err != nil {
					return err
				}
				return show(list)
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := listOf(ctx, nc, service.Samples, service.Question{Vehicle: args[0], Component: arg(args, 1), Number: number, Units: c.Units()})
				if err != nil {
					return cli.Lacking(err)
				}
				return show(list)
			})
		},
	}
	c.Flags(cmd, s)
	cmd.Flags().StringVar(&number, "number", "", "the sample of this laboratory number, and not the latest")
	cmd.Flags().StringVar(&analyte, "analyte", "", "show how much of this analyte was produced up to each sample (Cu or copper); name the component if there are several")
	cmd.Flags().StringVar(&picture, "chart", "", "also draw a chart into this file, .svg or .png; name the component if there are several")
	o.flags(cmd, "folder of rule files; the last argument is then a file of events")
	return cmd
}

// samplesIn reads the samples out of a file of events: the one of that number, or the latest.
func (o replayOptions) samplesIn(s cli.Env, file, name, component, number string) ([]sample.Verdict, error) {
	p, err := foldFile(s, o, file, func(event.Event, []engine.Output) {})
	if err != nil {
		return nil, err
	}
	vehicle, err := meantIn(p, name)
	if err != nil {
		return nil, err
	}
	if number != "" {
		return p.AskedBy(p.By).Numbered(vehicle, component, number), nil
	}
	return p.Verdicts(vehicle, component), nil
}

// verdictAnswer prints what the sheets say, and draws the picture where one is asked for.
func verdictAnswer(s cli.Env, asJSON bool, list []sample.Verdict, vehicle, number, picture string) error {
	if err := draw(picture, list, vehicle); err != nil {
		return err
	}
	if len(list) == 0 && !asJSON {
		return noSample(vehicle, number)
	}
	return cli.Listing(s, asJSON, list, nil, "", func(v sample.Verdict) string { return v.Text() + "\n" })
}

// draw writes the one verdict's picture; "" is no file.
func draw(path string, list []sample.Verdict, vehicle string) error {
	if path == "" {
		return nil
	}
	v, err := oneOf(list, vehicle, " --chart "+path)
	if err != nil {
		return err
	}
	return writePicture(path, fmt.Sprintf("no baseline has a mean for any of the results of %q", vehicle),
		func() ([]byte, error) { return chart.SVG(v) }, func() ([]byte, error) { return chart.PNG(v) })
}

// oneOf is the only verdict of the list; options are those of a command that would do.
func oneOf(list []sample.Verdict, vehicle, options string) (sample.Verdict, error) {
	if len(list) != 1 {
		return sample.Verdict{}, cli.Exit(2, cli.Hint(fmt.Errorf("%[2]q has samples of %[1]d components; a chart shows one", len(list), vehicle), "telltale sample "+english.Typed(vehicle)+" COMPONENT"+options))
	}
	return list[0], nil
}

// writePicture draws into the file of that name, or says why there is nothing to draw.
func writePicture(path, nothing string, svg, png func() ([]byte, error)) error {
	picture := svg
	switch filepath.Ext(path) {
	case ".svg":
	case ".png":
		picture = png
	default:
		return cli.Exit(2, cli.Hint(fmt.Errorf("--chart %s is neither .svg nor .png", path), "name it sample.svg or sample.png"))
	}
	b, err := picture()
	if err != nil {
		return err
	}
	if b == nil {
		return fmt.Errorf("no chart: %s", nothing)
	}
	return os.WriteFile(path, b, 0o644)
}

// chartAnswer shows the individuals chart of an analyte, and draws it where picture
// names a file.
func chartAnswer(s cli.Env, asJSON bool, list []sample.Verdict, vehicle, number, analyte, picture string) error {
	if len(list) == 0 {
		return noSample(vehicle, number)
	}
	v, err := oneOf(list, vehicle, " --analyte "+analyte)
	if err != nil {
		return err
	}
	m, ok := v.Chart(analyte)
	if !ok {
		return cli.Hint(fmt.Errorf("no chart of %s of the %s of %s: it needs two samples from which the amount produced can be calculated", analyte, v.Component, vehicle), chartsOf(&v))
	}
	if picture != "" {
		err := writePicture(picture, "fewer than two of the samples have a meter value",
			func() ([]byte, error) { return chart.MadeSVG(v, m) }, func() ([]byte, error) { return chart.MadePNG(v, m) })
		if err != nil {
			return err
		}
	}
	return cli.Listing(s, asJSON, []sample.Made{m}, nil, "", func(m sample.Made) string { return v.ChartText(m) + "\n" })
}

// chartsOf says of which analytes there are charts.
func chartsOf(v *sample.Verdict) string {
	var names []string
	for _, m := range v.Made {
		names = append(names, m.Analyte)
	}
	if names == nil {
		return "telltale sample " + english.Typed(v.Vehicle) + " " + english.Typed(v.Component) + " shows what there is"
	}
	return "there are charts of " + strings.Join(names, ", ")
}

func noSample(vehicle, number string) error {
	if number != "" {
		return cli.Hint(fmt.Errorf("vehicle %q has no sample of number %q that is still judged", vehicle, number), "telltale history "+english.Typed(vehicle)+" lists its samples")
	}
	return cli.Hint(fmt.Errorf("vehicle %q has no such sample or is not registered", vehicle), "telltale why "+english.Typed(vehicle)+" lists what it has")
}
