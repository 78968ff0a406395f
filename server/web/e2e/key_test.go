package e2e

import (
	"net/http"
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
	do(t, ctx, fill("Name", "Keyed"), press("Start studio"), until(`location.pathname === '/studios/keyed/glazes'`), press("Forget the key"), until(`document.querySelector('dialog[open]')`))
}

func TestKeysAreMadeShownOnceAndRevoked(t *testing.T) {
	const operator = "an-operator-key-that-is-long-enough-for-anybody"
	s := startServer(t, func(c *config.Config) { c.Keys.OperatorKey = config.NewSecret(operator) })
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(s.url+"/"), until(`document.querySelector('dialog[open]')`), fill("Key", operator), press("Use this key"), shows("No studio yet"),
		fill("Name", "Keyed"), press("Start studio"), until(`location.pathname === '/studios/keyed/glazes'`),
		chromedp.Navigate(s.url+"/studios/keyed/studio"), press("New key"), fill("Name of the key", "Kiln shed"), choose("May", "Read"), press("Make the key"), shows("cannot be shown again"))
	secret := read[string](t, ctx, `document.querySelector('.secret').innerText`)
	status := func() int {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.url+"/v1/studios/keyed/glazes", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+secret)
		res, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		return res.StatusCode
	}
	if got := status(); got != http.StatusOK {
		t.Fatalf("with the new key the answer is %d, want 200", got)
	}
	do(t, ctx, press("I have it"), until(`!document.querySelector('.secret')`), shows("Read, score and plan"), press("Revoke Kiln shed"), press("Revoke the key"), said("Done."), until(`!document.querySelector('[aria-label="Revoke Kiln shed"]')`))
	if got := status(); got != http.StatusUnauthorized {
		t.Errorf("with the revoked key the answer is %d, want 401", got)
	}
	// What was opened with a key is not left behind in the browser.
	do(t, ctx, until(`navigator.serviceWorker.controller`), chromedp.Reload(), shows("No body yet"), settled,
		until(`(caches.has('answers').then((has) => (window.kept = has)), window.kept !== undefined)`))
	if read[bool](t, ctx, `window.kept`) {
		t.Error("answers that were given to a key are kept")
	}
}
