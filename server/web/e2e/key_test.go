package e2e

import (
	"testing"

	"github.com/chromedp/chromedp"

	"github.com/catchline/catchline/server/config"
)

func TestKeyIsAskedForAndKeptInTheTab(t *testing.T) {
	const key = "an-operator-key-that-is-long-enough-for-anybody"
	s := startServer(t, func(c *config.Config) { c.Keys.OperatorKey = config.NewSecret(key) })
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/"), until(`document.querySelector('dialog[open]')`),
		fill("Key", "not-the-key"), press("Use this key"), until(`document.querySelector('dialog[open]') && document.querySelector('dialog input').value === ''`),
		fill("Key", key), press("Use this key"), shows("No studio yet"), until(`!document.querySelector('dialog[open]')`))
	if kept := read[bool](t, ctx, `Object.values(sessionStorage).includes(`+quoted(key)+`) && !Object.values(localStorage).includes(`+quoted(key)+`)`); !kept {
		t.Error("the key is not in this tab's storage alone")
	}
	do(t, ctx, fill("What people call it", "Keyed"), press("Start it"), until(`location.pathname === '/studios/keyed/glazes'`), press("Forget the key"), until(`document.querySelector('dialog[open]')`))
}
