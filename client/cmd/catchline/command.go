package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

// commandLine is all that the program can be asked.
type commandLine struct {
	Connection connection `embed:"" group:"Where"`

	Units    units  `enum:"mm,in" default:"mm" env:"CATCHLINE_UNITS" group:"How" help:"Unit of lengths that are given without one, and of those that are shown as a table or CSV: mm or in. JSON is always in mm, as in the contract."`
	Format   string `enum:"table,csv,json" default:"table" group:"How" help:"Form of the answer: table, csv or json."`
	Progress bool   `group:"How" help:"Tell of progress on standard error also when it is no terminal."`

	Score  scoreCommand  `cmd:"" help:"Say how far a layering will run, how sure that is, and what to do."`
	Advise adviseCommand `cmd:"" help:"Say what brings a layering under the tolerated risk."`
	Draw   drawCommand   `cmd:"" help:"Draw a wall with its film before and after the firing, as SVG."`
	Shelf  shelfCommand  `cmd:"" help:"Plan a kiln load: pieces by risk, cookies to make, what to keep low."`
	Sheet  sheetCommands `cmd:"" help:"Score a combination sheet (catchline sheet score --help tells how), and keep sheets."`
	Next   nextCommand   `cmd:"" help:"Say which tiles to fire next to learn most."`

	Tile         tileCommands        `cmd:"" help:"Log tiles, list them, carry them in and out as CSV."`
	Fit          fitCommand          `cmd:"" help:"Learn from the studio's tiles."`
	Calibrations calibrationsCommand `cmd:"" help:"List what was learnt, the newest first."`
	Activate     activateCommand     `cmd:"" help:"Use an earlier calibration."`
	Record       recordCommand       `cmd:"" help:"Show predicted against measured, tile by tile."`

	Studio   studioCommands   `cmd:"" help:"Keep studios."`
	Glaze    glazeCommands    `cmd:"" help:"Keep glazes, and look into their melts."`
	Lot      lotCommands      `cmd:"" help:"Keep lots of glazes, and compare them. A lot goes by GLAZE/LOT."`
	Material materialCommands `cmd:"" help:"Keep raw materials."`
	Body     resourceCommands `cmd:"" help:"Keep bodies."`
	Firing   firingCommands   `cmd:"" help:"Keep firings, and preview them."`
	Ware     wareCommands     `cmd:"" help:"Keep wares, and trace their profiles."`
	Keys     keysCommands     `cmd:"" help:"Make and revoke keys of a studio."`

	Melt    meltCommand    `cmd:"" help:"Predict the viscosity of the melts of a CSV file."`
	Version versionCommand `cmd:"" help:"Say the version."`
}

// streams are the standard streams.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// app is what commands work with.
type app struct {
	context.Context
	*commandLine
	streams
	noun string // the first word of the command
	link *link
}

const description = `How far will it run? Scores glaze over glaze before the firing, and learns from logged tiles.

Names may be given in full (studios/demo/glazes/tarn-clear), as an id (tarn-clear), or as people call it ("Tarn Clear").

Exit codes: 0 done, 1 failed, 2 wrong command line or input, 3 not found, 4 the server cannot be reached, 5 with --strict a risk above the tolerated one.`

// run does what the command line asks for and gives the exit code. Errors are told on the standard error stream.
func run(ctx context.Context, args []string, s streams) int {
	var c commandLine
	helped := false
	parser, err := kong.New(&c,
		kong.Name("catchline"),
		kong.Description(description),
		kong.Writers(s.out, s.err),
		kong.Vars{"choice_columns": strings.Join(choiceColumns, ", ")},
		kong.Exit(func(int) { helped = true }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoExpandSubcommands: true, WrapUpperBound: 110}),
	)
	if err != nil {
		panic("catchline: the command line is not well defined: " + err.Error())
	}
	parsed, err := parser.Parse(args)
	if helped {
		return exitDone
	}
	if err != nil {
		fmt.Fprintf(s.err, "catchline: %v; catchline --help tells what there is.\n", err)
		return exitInput
	}
	a := &app{Context: ctx, commandLine: &c, streams: s, noun: strings.Fields(parsed.Command())[0]}
	err = parsed.Run(a)
	if closing := a.close(); err == nil {
		err = closing
	}
	if err == nil {
		return exitDone
	}
	if !errors.Is(err, errRisk) {
		fmt.Fprintln(s.err, "catchline: "+sentenceOf(err))
	}
	return exitCode(err)
}
