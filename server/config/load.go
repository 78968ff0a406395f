package config

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/alecthomas/kong"
	"github.com/pelletier/go-toml/v2"
)

// CommandLine is what the program can be asked to do. The settings hold for every command.
type CommandLine struct {
	Config
	File string `name:"config" help:"TOML file with settings. An unknown key in it is an error."`

	Serve   struct{} `cmd:"" default:"withargs" help:"Serve gRPC and HTTP/JSON. This is what happens when no command is given."`
	Migrate struct{} `cmd:"" help:"Bring the database to this program's schema; with --create make it if there is none."`
	Backup  struct {
		To string `arg:"" help:"File to write; it must not exist."`
	} `cmd:"" help:"Copy the SQLite database, whole and consistent, while a server may be running on it."`
	Restore struct {
		From  string `arg:"" help:"Backup to read."`
		Check bool   `name:"check" help:"Only check that the backup is whole and fits this program."`
	} `cmd:"" help:"Put a checked backup in the place of a database that is not there."`
	Check   struct{} `cmd:"" help:"Read every record of the database, while servers may be running on it, and name those that are damaged."`
	Version struct{} `cmd:"" help:"Say the version."`
}

// Source is where settings come from besides the defaults.
type Source struct {
	Args   []string // without the program's name
	Getenv func(string) (string, bool)
	Out    io.Writer // for the help that was asked for
}

// ErrHelp says that help was asked for and has been written.
var ErrHelp = fmt.Errorf("help was written")

// EnvironmentPrefix is what the names of environment variables begin with.
const EnvironmentPrefix = "CATCHLINE_"

// Load reads the command line, environment and file. The command is its name. It does not verify.
func Load(s Source) (c *CommandLine, command string, err error) {
	c = new(CommandLine)
	if s.Getenv == nil {
		s.Getenv = func(string) (string, bool) { return "", false }
	}
	file, err := readFile(s)
	if err != nil {
		return nil, "", err
	}
	// Of several resolvers the last one that has a value decides: the environment goes before the file.
	environment := kong.ResolverFunc(func(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
		if text, ok := s.Getenv(Environment(flag.Name)); ok {
			return text, nil
		}
		return nil, nil
	})
	helped := false
	k, err := kong.New(c,
		kong.Name("catchline-server"),
		kong.Description("The catchline service. Each setting can also be given as an environment variable, --grpc-address as "+EnvironmentPrefix+"GRPC_ADDRESS, or in a TOML file."),
		kong.Writers(s.Out, io.Discard),
		kong.Exit(func(int) { helped = true }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, FlagsLast: true}),
		kong.Resolvers(file, environment),
	)
	if err != nil {
		return nil, "", err
	}
	ctx, err := k.Parse(s.Args)
	if helped {
		return nil, "", ErrHelp
	}
	if err != nil {
		return nil, "", fmt.Errorf("%w; catchline-server --help lists all settings", err)
	}
	command, _, _ = strings.Cut(ctx.Command(), " ")
	return c, command, nil
}

// Environment returns the name of the environment variable of a setting.
func Environment(setting string) string {
	return EnvironmentPrefix + strings.ToUpper(strings.ReplaceAll(setting, "-", "_"))
}

// Default returns the settings that hold when nothing is given.
func Default() Config {
	c, _, err := Load(Source{})
	if err != nil {
		panic("config: the defaults do not parse: " + err.Error())
	}
	return c.Config
}

// filePath finds the path of the file ahead of the parse that needs it.
func filePath(s Source) (string, error) {
	for i, a := range s.Args {
		if a == "--" {
			break
		}
		if path, ok := strings.CutPrefix(a, "--config="); ok {
			return path, nil
		}
		if a == "--config" {
			if i+1 == len(s.Args) {
				return "", fmt.Errorf("--config needs the path of a file")
			}
			return s.Args[i+1], nil
		}
	}
	path, _ := s.Getenv(Environment("config"))
	return path, nil
}

// file holds the settings of a TOML file by name.
type file struct {
	path   string
	values map[string]any
}

// readFile reads the TOML file that is asked for, if one is.
func readFile(s Source) (*file, error) {
	path, err := filePath(s)
	if err != nil || path == "" {
		return &file{}, err
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("the file with settings cannot be read: %w; check --config", err)
	}
	var tree map[string]any
	if err := toml.Unmarshal(text, &tree); err != nil {
		return nil, fmt.Errorf("%s is not TOML: %w", path, err)
	}
	f := &file{path: path, values: map[string]any{}}
	flatten("", tree, f.values)
	return f, nil
}

// Validate refuses keys that are no settings.
func (f *file) Validate(app *kong.Application) error {
	var unknown []string
	for key := range f.values {
		if !slices.ContainsFunc(app.Flags, func(flag *kong.Flag) bool { return flag.Name == key && key != "config" && key != "help" }) {
			unknown = append(unknown, key)
		}
	}
	if len(unknown) == 0 {
		return nil
	}
	slices.Sort(unknown)
	return fmt.Errorf("%s has unknown settings: %s", f.path, strings.Join(unknown, ", "))
}

// Resolve returns the file's value of a setting, or nil.
func (f *file) Resolve(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	v, ok := f.values[flag.Name]
	if !ok {
		return nil, nil
	}
	array, ok := v.([]any)
	if !ok {
		return fmt.Sprint(v), nil
	}
	texts := make([]string, len(array))
	for i := range array {
		texts[i] = fmt.Sprint(array[i])
	}
	return strings.Join(texts, ","), nil
}

// flatten joins the keys of nested tables: address in [grpc] is grpc-address.
func flatten(prefix string, tree map[string]any, into map[string]any) {
	for key, v := range tree {
		if table, ok := v.(map[string]any); ok {
			flatten(prefix+key+"-", table, into)
			continue
		}
		into[prefix+key] = v
	}
}

// LogValue lists every setting by its name, secrets redacted.
func (c Config) LogValue() slog.Value {
	var attrs []slog.Attr
	each(reflect.ValueOf(c), "", func(name string, v reflect.Value, _ reflect.StructTag) {
		value := v.Interface()
		if d, ok := value.(time.Duration); ok {
			value = d.String() // JSON would show nanoseconds
		}
		attrs = append(attrs, slog.Any(name, value))
	})
	return slog.GroupValue(attrs...)
}

// each calls f with every setting.
func each(v reflect.Value, prefix string, f func(name string, v reflect.Value, tag reflect.StructTag)) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		if _, group := field.Tag.Lookup("embed"); group {
			each(v.Field(i), prefix+field.Tag.Get("prefix"), f)
			continue
		}
		f(prefix+field.Tag.Get("name"), v.Field(i), field.Tag)
	}
}
