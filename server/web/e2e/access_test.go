package e2e

import (
	"context"
	"encoding/json"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// violation is one rule of axe-core that a page breaks.
type violation struct {
	ID, Impact, Help string
	Nodes            []struct {
		HTML           string
		FailureSummary string
	}
}

// TestAxe checks every page against the rules of WCAG 2.2, levels A and AA, that axe-core can check by machine.
func TestAxe(t *testing.T) {
	script, err := os.ReadFile(filepath.Join("..", "ui", "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		missing(t, "axe-core (npm ci in server/web/ui)")
	}
	s := startServer(t)
	s.invent(t, "north", 24)
	for _, look := range []struct {
		screen
		scheme string
	}{{desk, "light"}, {desk, "dark"}, {phone, "light"}} {
		t.Run(look.name+"-"+look.scheme, func(t *testing.T) {
			ctx := window(t, look.screen)
			pages := append(shots(), shot{"new-glaze", "glazes/new", "New glaze", nil}, shot{"new-firing", "firings/new", "equivalent cone", nil},
				shot{"tile", "tiles/t003", "Score it today", []step{press("Change this tile"), shows("Save changes")}},
				shot{"buffer", "score?layer=honey-run~3~b&firing=cone-6&band=20&clearance=60&lower=" + url.QueryEscape(bufferBand), "what drives it", []step{
					until(`(document.querySelectorAll('main .asked').forEach((d) => (d.open = true)), true)`), shows("Take the buffer away"),
					settled, until(`document.querySelector('.wall .buffer-line')`)}}, shot{"missing", "glazes/none", "No glaze is called", nil})
			checked := 0
			for _, page := range pages {
				do(t, ctx, media("", look.scheme), chromedp.Navigate(s.url+"/studios/north/"+page.path), shows(page.ready), settled)
				do(t, ctx, page.steps...)
				do(t, ctx, chromedp.Evaluate[chromedp.Void](string(script)))
				await := func(p *runtime.EvaluateParams) { yes := true; p.AwaitPromise = &yes }
				text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'], resultTypes: ['violations']}).then((r) => JSON.stringify({v: r.violations, passes: r.passes.length}))`, await))
				if err != nil {
					t.Fatal(err)
				}
				var found struct {
					V      []violation
					Passes int
				}
				if err := json.Unmarshal([]byte(text), &found); err != nil {
					t.Fatal(err)
				}
				checked += found.Passes
				for _, v := range found.V {
					report := t.Logf
					if v.Impact == "serious" || v.Impact == "critical" {
						report = t.Errorf
					}
					for _, n := range v.Nodes[:min(2, len(v.Nodes))] {
						report("%s: %s (%s, %d places): %s\n  %.240s\n  %s", page.name, v.ID, v.Impact, len(v.Nodes), v.Help, n.HTML, n.FailureSummary)
					}
				}
			}
			t.Logf("%d rules passed on %d pages", checked, len(pages))
		})
	}
}

const bufferBand = `[{"layering":{"layers":[{"glaze":"studios/north/glazes/rust-slip","coats":2}]},"fromFootMm":20,"bandHeightMm":40}]`

// tabTo presses Tab until the focus is on what is called so, as somebody does who has no mouse.
func tabTo(name string) step {
	return func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
		for range 200 {
			if _, err := chromedp.KeyEvent(kb.Tab)(ctx, target); err != nil {
				return chromedp.Void{}, err
			}
			at, err := chromedp.Evaluate[string](`(() => {
				const e = document.activeElement;
				return e.getAttribute('aria-label') || e.labels?.[0]?.textContent || e.textContent || '';
			})()`)(ctx, target)
			if err != nil {
				return chromedp.Void{}, err
			}
			if strings.HasPrefix(strings.TrimSpace(at), name) {
				return chromedp.Void{}, nil
			}
		}
		return chromedp.Void{}, &unreached{name}
	}
}

type unreached struct{ name string }

func (u *unreached) Error() string { return "Tab does not lead to " + u.name }

// TestKeyboardAlone scores, reorders and logs without a pointer.
func TestKeyboardAlone(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=bone-white~2~b&layer=slate-blue~2~b&firing=cone-6"), shows("what would help"), settled,
		// The first stop leads past the navigation.
		tabTo("To the page"), chromedp.KeyEvent(kb.Enter), until(`document.activeElement.id === 'main'`),
		tabTo("Move layer 1"), chromedp.KeyEvent(kb.ArrowDown), until(`location.search.indexOf('slate-blue') < location.search.indexOf('bone-white')`),
		// The focus went along with the layer.
		until(`document.activeElement.getAttribute('aria-label').startsWith('Move layer 2, Bone white')`),
		tabTo("Coats"), chromedp.KeyEvent(kb.ArrowUp), until(`location.search.includes('bone-white%7E3') || location.search.includes('bone-white~3')`), settled,
		tabTo("Longest drip"), chromedp.KeyEvent("9"), chromedp.KeyEvent(kb.Enter), until(`([...document.querySelectorAll('dialog[open] button')].find((b) => b.textContent === 'Log it all the same')?.click(), document.querySelector('.saved'))`), shows("Logged."))
	// Whatever has the focus shows it.
	if width := read[string](t, ctx, `(() => { document.querySelector('.layers input').focus(); return getComputedStyle(document.activeElement).outlineWidth; })()`); width != "3px" {
		t.Errorf("the outline of the focus is %s wide", width)
	}
}
