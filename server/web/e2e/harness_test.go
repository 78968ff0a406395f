// Package e2e drives the pages in a real headless Chromium against a real server.
package e2e

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/server/web"
)

// limit is how long one step may take; what takes longer does not come about.
const limit = 30 * time.Second

// browser is one Chromium for all tests; each test has a window of its own, with storage of its own.
var browser struct {
	once sync.Once
	ctx  context.Context
	err  error
	stop func()
}

func TestMain(m *testing.M) {
	code := m.Run()
	if browser.stop != nil {
		browser.stop()
	}
	os.Exit(code)
}

// missing skips the test on a laptop and fails it where everything has to be installed.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing", what)
	}
	t.Skipf("%s is missing: this test is left out", what)
}

func startBrowser(t *testing.T) context.Context {
	t.Helper()
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			program = found
			break
		}
	}
	if program == "" {
		missing(t, "chromium")
	}
	browser.once.Do(func() {
		options := append(chromedp.DefaultExecAllocatorOptions[:],
			chromedp.ExecPath(program),
			chromedp.DisableGPU,
			chromedp.Flag("disable-quic", true),
			chromedp.Flag("disable-component-update", true),
			chromedp.Flag("disable-sync", true),
			chromedp.Flag("host-resolver-rules", "MAP rebound.example 127.0.0.1"),
			chromedp.Flag("hide-scrollbars", true),
			chromedp.Flag("force-color-profile", "srgb"),
			chromedp.WindowSize(1280, 900),
		)
		if os.Geteuid() == 0 {
			options = append(options, chromedp.NoSandbox)
		}
		allocator, stopAllocator := chromedp.NewExecAllocator(context.Background(), options...)
		ctx, stop := chromedp.NewContext(allocator)
		browser.ctx, browser.stop = ctx, func() { stop(); stopAllocator() }
		browser.err = chromedp.Do(ctx)
	})
	if browser.err != nil {
		t.Fatalf("chromium does not start: %v", browser.err)
	}
	return browser.ctx
}

// screen is what somebody looks at.
type screen struct {
	name          string
	width, height int64
	phone         bool
}

var (
	desk  = screen{"desk", 1280, 900, false}
	phone = screen{"phone", 390, 844, true}
)

// step is one thing that a person does or waits for.
type step = chromedp.Action[chromedp.Void]

// window opens a fresh window. Whatever the page complains of on its console fails the test: a broken policy, a missing
// file, an exception.
func window(t *testing.T, s screen) context.Context {
	t.Helper()
	ctx, cancel := chromedp.NewContext(startBrowser(t), chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var complaints []string
	complain := func(text string) {
		mu.Lock()
		defer mu.Unlock()
		complaints = append(complaints, text)
	}
	err := chromedp.Listen(ctx, func(event any) {
		switch e := event.(type) {
		case *runtime.EventExceptionThrown:
			text := e.ExceptionDetails.Text
			if e.ExceptionDetails.Exception != nil {
				text += " " + e.ExceptionDetails.Exception.Description
			}
			complain(text)
		case *runtime.EventConsoleAPICalled:
			if e.Type == "error" {
				complain("console")
			}
		case *cdplog.EventEntryAdded:
			// Answers that say no are the tests' own business.
			if e.Entry.Level == "error" && e.Entry.Source != "network" {
				complain(string(e.Entry.Source) + ": " + e.Entry.Text)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		mu.Lock()
		defer mu.Unlock()
		for _, c := range complaints {
			t.Errorf("the page complains: %s", c)
		}
	})
	do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		if _, err := cdp.Call(ctx, target, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: s.width, Height: s.height, DeviceScaleFactor: 1, Mobile: s.phone}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, target, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: s.phone})
		return err
	}))
	return ctx
}

// do takes steps in a window and fails the test with the page's text when one of them does not come about.
func do(t *testing.T, ctx context.Context, steps ...step) {
	t.Helper()
	for i, s := range steps {
		within, stop := context.WithTimeout(ctx, limit)
		_, err := chromedp.Run(within, s)
		stop()
		if err == nil {
			continue
		}
		text, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText`))
		where := filepath.Join(os.TempDir(), strings.ReplaceAll(t.Name(), "/", "-")+".png")
		if shot, shotErr := chromedp.Run(ctx, chromedp.CaptureScreenshot()); shotErr == nil {
			_ = os.WriteFile(where, shot, 0o600)
		}
		t.Fatalf("step %d: %v\non the page (picture in %s):\n%.2500s", i+1, err, where, text)
	}
}

// until waits until a JavaScript expression is true, looking at every frame. (The library's own polling makes functions
// from text, which the pages' policy forbids.)
func until(expression string) step {
	script := fmt.Sprintf(`new Promise((done) => {
		const look = () => { if (%s) done(); else requestAnimationFrame(look); };
		look();
	})`, expression)
	await := func(p *runtime.EvaluateParams) { yes := true; p.AwaitPromise = &yes }
	return func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
		if _, err := chromedp.Evaluate[chromedp.Void](script, await)(ctx, target); err != nil {
			return chromedp.Void{}, fmt.Errorf("waiting for %s: %w", expression, err)
		}
		return chromedp.Void{}, nil
	}
}

// shows waits until the page shows a text, whatever its case.
func shows(text string) step {
	return until(fmt.Sprintf(`document.querySelector('main')?.innerText.replaceAll('\u00a0', ' ').toLowerCase().includes(%s)`, quoted(strings.ToLower(text))))
}

func quoted(text string) string {
	b, _ := json.Marshal(text) // a string always has a JSON form
	return string(b)
}

// called is a button, link, tick or summary by its visible text or its label.
func called(name string) string {
	return fmt.Sprintf(`//*[self::button or self::a or self::summary or self::label][contains(normalize-space(translate(., " ", " ")), %q) or @aria-label=%q]`, name, name)
}

func press(name string) step { return chromedp.Click(called(name), chromedp.NodeVisible) }

// field is the input with this label.
func field(label string) string {
	return fmt.Sprintf(`//*[@id=//label[normalize-space(.)=%q]/@for]`, label)
}

// fill types into the field with this label, in the place of what is there.
func fill(label, text string) step {
	return chromedp.Steps(chromedp.Click(field(label), chromedp.NodeVisible), chromedp.Steps(
		until(`(document.activeElement.select?.(), true)`),
		chromedp.KeyEvent(text),
	))
}

// choose picks the option that starts with this text in the list with this label.
func choose(label, option string) step {
	return until(fmt.Sprintf(`(() => {
		const label = [...document.querySelectorAll('label')].find((l) => l.textContent.trim() === %s);
		const list = label && document.getElementById(label.htmlFor);
		const option = list && [...list.options].find((o) => o.text.trim().startsWith(%s));
		if (!option) return false;
		list.value = option.value;
		list.dispatchEvent(new Event('change', { bubbles: true }));
		return true;
	})()`, quoted(label), quoted(option)))
}

// media makes the window look as on paper or on a light or dark screen, and keeps everything still.
func media(medium, scheme string) step {
	return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: medium, Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
		}})
		return err
	})
}

// server is one running server with a database of its own.
type server struct{ url string }

func demoOn(c *config.Config) { c.Demo = true }

// startServer starts a server without a studio.
func startServer(t *testing.T, changes ...func(*config.Config)) *server {
	t.Helper()
	return serve(t, process.Options{}, changes...)
}

func serve(t *testing.T, o process.Options, changes ...func(*config.Config)) *server {
	t.Helper()
	c := config.Default()
	c.Limits.QueueTime, c.Limits.StandingQueueTime = 10*time.Second, 10*time.Second // whatever else runs on this machine
	c.Store = config.Database(filepath.Join(t.TempDir(), "pages.db"))
	c.Create = true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0"
	c.ShutdownGrace = time.Second
	for _, change := range changes {
		change(&c)
	}
	o.Version, o.Logger, o.Pages = "test", slog.New(slog.DiscardHandler), web.Handler()
	p, err := process.Open(t.Context(), c, o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		// Windows that are still open hold connections: how the server ends is tested elsewhere.
		<-ended
		p.Close()
	})
	return &server{"http://" + p.HTTPAddress()}
}

// call sends JSON and reads JSON; the test fails when the answer is not 200.
func (s *server) call(t *testing.T, method, path string, body, answer any) {
	t.Helper()
	text, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.NewRequestWithContext(t.Context(), method, s.url+path, bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	got, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	if res.StatusCode != http.StatusOK {
		t.Fatalf("%s %s: %s\n%s", method, path, res.Status, got)
	}
	if answer != nil {
		if err := json.Unmarshal(got, answer); err != nil {
			t.Fatalf("%s %s: %v in %s", method, path, err, got)
		}
	}
}
