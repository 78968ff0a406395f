package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

func env(pairs ...string) func(string) (string, bool) {
	return func(name string) (string, bool) {
		for i := 0; i < len(pairs); i += 2 {
			if pairs[i] == name {
				return pairs[i+1], true
			}
		}
		return "", false
	}
}

func write(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "settings.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestEachLayerGoesBeforeTheNext(t *testing.T) {
	file := write(t, "store = 'file.db'\nallowed-hosts = ['a.example', 'b.example']\n[grpc]\naddress = '127.0.0.1:1'\n[limit]\nconcurrent = 7\n[deadline]\ndefault = '3s'\n")
	c, _, err := Load(Source{
		Args: []string{"--config", file, "--grpc-address", "127.0.0.1:3"},
		Getenv: env("CATCHLINE_GRPC_ADDRESS", "127.0.0.1:2", "CATCHLINE_LIMIT_CONCURRENT", "9", "CATCHLINE_HTTP_ADDRESS", "",
			"CATCHLINE_ALLOWED_ORIGINS", "https://c.example, https://d.example"),
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ what, got, want string }{
		{"flag over environment over file", c.GRPC.Address, "127.0.0.1:3"},
		{"environment over file", fmt.Sprint(c.Limits.Concurrent), "9"},
		{"file over default", string(c.Store), "file.db"},
		{"file, a duration", c.Deadlines.Default.String(), "3s"},
		{"environment, empty, over default", c.HTTP.Address, ""},
		{"default", c.Telemetry.LogFormat, "json"},
		{"file, a list", strings.Join(c.AllowedHosts, " "), "a.example b.example"},
		{"environment, a list", strings.Join(c.AllowedOrigins, " "), "https://c.example https://d.example"},
	} {
		if x.got != x.want {
			t.Errorf("%s: got %q, want %q", x.what, x.got, x.want)
		}
	}
}

func TestEverySettingHasAllItsNames(t *testing.T) {
	// A value for each kind of setting that is not its default.
	other := func(v reflect.Value) string {
		switch v.Interface().(type) {
		case bool:
			return "true"
		case time.Duration:
			return "7m"
		case float64:
			return "0.125"
		case int, int64, uint32:
			return "4321"
		}
		return "warn" // a text, and a level
	}
	defaults := Default()
	each(reflect.ValueOf(defaults), "", func(name string, v reflect.Value, tag reflect.StructTag) {
		value := other(v)
		if name == "log-format" {
			value = "text"
		}
		quoted := fmt.Sprintf("%q", value)
		if v.Kind() != reflect.String && v.Kind() != reflect.Struct && v.Type() != reflect.TypeFor[time.Duration]() {
			quoted = value
		}
		if v.Type() == reflect.TypeFor[Names]() {
			quoted = fmt.Sprintf("[%q]", value)
		}
		file := write(t, name+" = "+quoted+"\n")
		for way, s := range map[string]Source{
			"flag":        {Args: []string{"--" + name + "=" + value}},
			"environment": {Getenv: env(Environment(name), value)},
			"file":        {Args: []string{"--config=" + file}},
		} {
			c, _, err := Load(s)
			if err != nil {
				t.Errorf("%s by %s: %v", name, way, err)
				continue
			}
			changed := false
			each(reflect.ValueOf(c.Config), "", func(n string, got reflect.Value, _ reflect.StructTag) {
				if n == name {
					changed = !reflect.DeepEqual(got.Interface(), v.Interface())
				} else if d := find(defaults, n); !reflect.DeepEqual(got.Interface(), d) {
					t.Errorf("%s by %s changed %s", name, way, n)
				}
			})
			if !changed {
				t.Errorf("%s by %s has no effect", name, way)
			}
		}
		if tag.Get("help") == "" {
			t.Errorf("%s has no help", name)
		}
	})
}

func find(c Config, name string) (found any) {
	each(reflect.ValueOf(c), "", func(n string, v reflect.Value, _ reflect.StructTag) {
		if n == name {
			found = v.Interface()
		}
	})
	return found
}

// The example file documents every setting with its default, as a comment. Without the # it is to change nothing.
func TestDocumentedDefaultsAreReal(t *testing.T) {
	text, err := os.ReadFile("../deploy/catchline.toml")
	if err != nil {
		t.Fatal(err)
	}
	var uncommented strings.Builder
	var documented []string
	table := ""
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		if name, ok := strings.CutPrefix(line, "["); ok {
			table = strings.TrimSuffix(name, "]") + "-"
		}
		if rest, ok := strings.CutPrefix(line, "#"); ok && !strings.HasPrefix(rest, " ") {
			line = rest
			key, _, _ := strings.Cut(line, " =")
			documented = append(documented, table+key)
		}
		uncommented.WriteString(line + "\n")
	}
	c, _, err := Load(Source{Args: []string{"--config", write(t, uncommented.String())}})
	if err != nil {
		t.Fatal(err)
	}
	defaults := Default()
	each(reflect.ValueOf(c.Config), "", func(name string, v reflect.Value, _ reflect.StructTag) {
		if !slices.Contains(documented, name) {
			t.Errorf("%s is not documented", name)
		}
		if d := find(defaults, name); !reflect.DeepEqual(v.Interface(), d) {
			t.Errorf("%s is documented as %v and is %v", name, v.Interface(), d)
		}
	})
	if d := Default(); d.Verify() != nil {
		t.Errorf("the defaults do not verify: %v", d.Verify())
	}
}

func TestUnknownAndUnreadable(t *testing.T) {
	for _, x := range []struct {
		what, file, arg, want string
	}{
		{"unknown key", "grcp-address = 'x'\nlimit-concurent = 2\n", "", "unknown settings: grcp-address, limit-concurent"},
		{"unknown table", "[grcp]\naddress = 'x'\n", "", "grcp-address"},
		{"no TOML", "store: x\n", "", "is not TOML"},
		{"unknown flag", "", "--grcp-address=x", "--help lists all"},
		{"not a number", "", "--limit-concurrent=many", "limit-concurrent"},
		{"not a level", "", "--log-level=loud", "log-level"},
		{"no such file", "", "--config=/nonexistent/x.toml", "check --config"},
	} {
		args := []string{}
		if x.file != "" {
			args = append(args, "--config", write(t, x.file))
		}
		if x.arg != "" {
			args = append(args, x.arg)
		}
		_, _, err := Load(Source{Args: args})
		if err == nil || !strings.Contains(err.Error(), x.want) {
			t.Errorf("%s: %v; want %q in it", x.what, err, x.want)
		}
	}
}

func TestVerifyReportsEveryFault(t *testing.T) {
	c := Default()
	c.Store = ""
	c.Limits.Concurrent = 0
	c.Deadlines.Default = time.Hour
	c.TLS.Cert = "cert.pem"
	c.Telemetry.TraceRatio = 2
	err := c.Verify()
	if err == nil {
		t.Fatal("no fault found")
	}
	for _, want := range []string{"store is empty", "limit-concurrent is 0: 1 to 100000", "deadline-default (1h0m0s) is more than deadline-max", "tls-cert and tls-key", "trace-ratio is 2"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not in:\n%v", want, err)
		}
	}
}

func TestVerify(t *testing.T) {
	long := NewSecret(strings.Repeat("k", 40))
	open := func(c *Config) { c.GRPC.Address = "0.0.0.0:7400" }
	for _, x := range []struct {
		what   string
		change func(*Config)
		want   string // empty: no fault
	}{
		{"defaults", func(*Config) {}, ""},
		{"no listeners, as embedded", func(c *Config) { c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "", "", "" }, ""},
		{"any free ports", func(c *Config) { c.GRPC.Address, c.HTTP.Address = "127.0.0.1:0", "127.0.0.1:0" }, ""},
		{"IPv6 loopback", func(c *Config) { c.GRPC.Address = "[::1]:7400" }, ""},
		{"localhost", func(c *Config) { c.HTTP.Address = "localhost:7480" }, ""},
		{"open, plaintext, no keys", open, "allow-plaintext"},
		{"open, no keys", func(c *Config) { open(c); c.AllowPlaintext = true }, "allow-anonymous"},
		{"empty host is every address", func(c *Config) { c.HTTP.Address = ":7480" }, "http-address is :7480, which others can reach"},
		{"open on purpose", func(c *Config) { open(c); c.AllowPlaintext, c.AllowAnonymous = true, true }, ""},
		{"open, keys, TLS", func(c *Config) { open(c); c.Keys.OperatorKey = long; c.TLS = TLS{Cert: "c", Key: "k"} }, ""},
		{"open, keys, plaintext behind a proxy", func(c *Config) { open(c); c.Keys.OperatorKey = long; c.AllowPlaintext = true }, ""},
		{"anonymous and keys", func(c *Config) { c.Keys.OperatorKey = long; c.AllowAnonymous = true }, "contradicts"},
		{"short operator key", func(c *Config) { c.Keys.OperatorKey = NewSecret("short") }, "at least 32"},
		{"no operator key file", func(c *Config) { c.Keys.OperatorKeyFile = "/nonexistent" }, "operator-key-file"},
		{"keys that nobody has", func(c *Config) { c.Keys.Require = true }, "nobody"},
		{"same port", func(c *Config) { c.HTTP.Address = c.GRPC.Address }, "same as"},
		{"no port", func(c *Config) { c.GRPC.Address = "127.0.0.1" }, "host:port"},
		{"pprof beyond loopback", func(c *Config) { c.Telemetry.Pprof = true; c.Telemetry.MetricsAddress = "0.0.0.0:7490" }, "loopback"},
		{"client CA alone", func(c *Config) { c.TLS.ClientCA = "ca.pem" }, "tls-client-ca"},
		{"issuer alone", func(c *Config) { c.JWT.Issuer = "x" }, "jwt-jwks"},
		{"JWKS alone", func(c *Config) { c.JWT.JWKS = "keys.json" }, "jwt-audience"},
		{"JWKS over http", func(c *Config) {
			c.JWT = JWT{JWKS: "http://idp.example/keys", Issuer: "i", Audience: "a", StudioClaim: "s", RoleClaim: "r"}
		}, "https"},
		{"JWKS of loopback", func(c *Config) {
			c.JWT = JWT{JWKS: "http://127.0.0.1:9/keys", Issuer: "i", Audience: "a", StudioClaim: "s", RoleClaim: "r"}
		}, ""},
		{"body larger than message", func(c *Config) { c.HTTP.MaxBodyBytes = 32 << 20 }, "same request has to be possible"},
		{"wait longer than deadline", func(c *Config) { c.Limits.QueueTime = 30 * time.Second }, "nothing is left"},
		{"a studio's sheets", func(c *Config) { c.Limits.StudioSheets = 9 }, "limit-studio-sheets"},
		{"hosts and their ports", func(c *Config) { c.AllowedHosts = Names{"catchline.example", "kiln:8443", "[fd00::1]:80"} }, ""},
		{"host with a scheme", func(c *Config) { c.AllowedHosts = Names{"https://catchline.example"} }, "address bar"},
		{"any host", func(c *Config) { c.AllowedHosts = Names{"*"} }, "address bar"},
		{"origins with keys", func(c *Config) {
			c.Keys.OperatorKey = long
			c.AllowedOrigins = Names{"https://app.example", "http://localhost:3000"}
		}, ""},
		{"origins without keys", func(c *Config) { c.AllowedOrigins = Names{"https://app.example"} }, "allowed-origins needs keys"},
		{"any origin", func(c *Config) { c.Keys.OperatorKey = long; c.AllowedOrigins = Names{"*"} }, "every origin has to be named"},
		{"some origins", func(c *Config) { c.Keys.OperatorKey = long; c.AllowedOrigins = Names{"https://*.example"} }, "there is no *"},
		{"origin with a path", func(c *Config) { c.Keys.OperatorKey = long; c.AllowedOrigins = Names{"https://app.example/"} }, "no more"},
		{"proxies", func(c *Config) { c.TrustedProxies = Names{"10.0.0.0/8", "192.0.2.7", "2001:db8::/32"} }, ""},
		{"a proxy's name", func(c *Config) { c.TrustedProxies = Names{"proxy.example"} }, "trusted-proxies"},
		{"memory for no body", func(c *Config) { c.Limits.BodyBytes = 20 << 20 }, "limit-body-bytes"},
		{"pooler", func(c *Config) { c.Store, c.StoreDirect = "postgres://pooler/d", "postgres://h/d" }, ""},
		{"pooler without PostgreSQL", func(c *Config) { c.StoreDirect = "postgres://h/d" }, "store-direct is for PostgreSQL"},
		{"create on PostgreSQL", func(c *Config) { c.Store = "postgres://h/d"; c.Create = true }, "create is for SQLite"},
	} {
		c := Default()
		x.change(&c)
		err := c.Verify()
		switch {
		case x.want == "" && err != nil:
			t.Errorf("%s: %v", x.what, err)
		case x.want != "" && (err == nil || !strings.Contains(err.Error(), x.want)):
			t.Errorf("%s: %v; want %q in it", x.what, err, x.want)
		}
	}
}

func TestWarnings(t *testing.T) {
	c := Default()
	if w := c.Warnings(); len(w) != 0 {
		t.Errorf("the defaults warn: %v", w)
	}
	c.GRPC.Address, c.AllowPlaintext, c.AllowAnonymous = "0.0.0.0:7400", true, true
	if w := strings.Join(c.Warnings(), "\n"); !strings.Contains(w, "without TLS") || !strings.Contains(w, "without keys") {
		t.Errorf("what is given up is not said: %q", w)
	}
}

func TestSecretsAreNeverShown(t *testing.T) {
	const secret = "hunter2-hunter2-hunter2-hunter2-hunter2"
	c := Default()
	c.Keys.OperatorKey = NewSecret(secret)
	c.Store = "postgres://u:" + secret + "@h/d?password=" + secret
	c.StoreDirect = c.Store
	var logged bytes.Buffer
	slog.New(slog.NewJSONHandler(&logged, nil)).Info("x", "config", c, "pointer", &c)
	slog.New(slog.NewTextHandler(&logged, nil)).Info("x", "config", c, "group", slog.GroupValue(slog.Any("keys", c.Keys)))
	encoded, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	all := logged.String() + string(encoded) + fmt.Sprintf("%v %+v %#v %s", c, c, c, c.Keys.OperatorKey)
	if strings.Contains(all, secret) {
		t.Errorf("shown in: %s", all)
	}
	if !strings.Contains(logged.String(), redacted) {
		t.Error("the log does not say that there is a secret")
	}
	if c.Keys.OperatorKey.Reveal() != secret {
		t.Error("not revealed where it is asked for")
	}
}

func TestOperatorKeyFile(t *testing.T) {
	one, two := strings.Repeat("a", 40), strings.Repeat("b", 40)
	k := Keys{OperatorKeyFile: write(t, one+"\n\n  "+two+"  \n")}
	got, err := k.Operators()
	if err != nil || len(got) != 2 || got[0].Reveal() != one || got[1].Reveal() != two {
		t.Errorf("got %d keys, %v", len(got), err)
	}
	k.OperatorKeyFile = write(t, "\n")
	if _, err := k.Operators(); err == nil {
		t.Error("an empty file is no fault")
	}
}

func TestCommands(t *testing.T) {
	for _, x := range []struct {
		args []string
		want string
	}{
		{nil, "serve"}, {[]string{"--demo"}, "serve"}, {[]string{"serve", "--demo"}, "serve"}, {[]string{"migrate"}, "migrate"},
		{[]string{"backup", "to.db"}, "backup"}, {[]string{"restore", "from.db", "--check"}, "restore"}, {[]string{"version"}, "version"},
	} {
		if _, got, err := Load(Source{Args: x.args, Out: io.Discard}); err != nil || got != x.want {
			t.Errorf("%v: %q, %v", x.args, got, err)
		}
	}
	var help bytes.Buffer
	if _, _, err := Load(Source{Args: []string{"--help"}, Out: &help}); err != ErrHelp || !strings.Contains(help.String(), "--grpc-address") {
		t.Errorf("help: %v, %q", err, help.String())
	}
}
