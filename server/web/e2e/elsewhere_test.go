package e2e

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// attacks are the ways in which a page may send something to another server without asking it first, and some that ask. Each ends when the
// browser is done with it; what came of them the server says.
const attacks = `(async (server) => {
	const make = (id) => server + "/v1/studios?studioId=" + id;
	const body = JSON.stringify({ displayName: "Made from elsewhere" });
	const tried = {};
	const attempt = async (name, send) => { try { const r = await send(); tried[name] = r.type + " " + r.status; } catch { tried[name] = "blocked"; } };
	await attempt("read", () => fetch(server + "/v1/studios"));
	await attempt("text", () => fetch(make("text"), { method: "POST", mode: "no-cors", headers: { "Content-Type": "text/plain" }, body }));
	await attempt("no-type", () => fetch(make("no-type"), { method: "POST", mode: "no-cors", body: new Blob([body]) }));
	await attempt("json", () => fetch(make("json"), { method: "POST", headers: { "Content-Type": "application/json" }, body }));
	await attempt("patch", () => fetch(server + "/v1/studios/north", { method: "PATCH", headers: { "Content-Type": "application/json" }, body }));
	await attempt("delete", () => fetch(server + "/v1/studios/north?force=true", { method: "DELETE" }));
	navigator.sendBeacon(make("beacon"), body);
	await new Promise((done) => { const i = new Image(); i.onerror = i.onload = done; i.src = server + "/v1/studios/north"; });
	return JSON.stringify(tried);
})`

// form is one more, which leaves the page for what the server answers.
const form = `((server) => {
	const form = document.body.appendChild(document.createElement("form"));
	form.method = "POST"; form.enctype = "text/plain"; form.action = server + "/v1/studios?studioId=form";
	const input = form.appendChild(document.createElement("input"));
	input.name = '{"displayName": "'; input.value = 'Made from elsewhere"}';
	form.submit();
	return true;
})`

// arrives waits until a text is there on the page that follows.
func arrives(text string) step {
	return chromedp.Steps(chromedp.WaitVisible(fmt.Sprintf(`//*[contains(text(), '%s')]`, text)))
}

// A page on another port of this machine, under two of its names, changes and reads nothing of a server without keys; a link on it leads to
// the pages all the same, the first time and once the pages' worker stands in between.
func TestPagesOfElsewhere(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	page := s.url + "/studios/north/glazes"
	elsewhere := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Write([]byte(`<!doctype html><title>Elsewhere</title><a href="` + page + `">Open the studio</a>`))
	}))
	defer elsewhere.Close()
	ctx, cancel := chromedp.NewContext(startBrowser(t), chromedp.WithNewBrowserContext())
	defer cancel()
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	await := func(p *runtime.EvaluateParams) { yes := true; p.AwaitPromise = &yes }
	for _, from := range []string{elsewhere.URL, strings.Replace(elsewhere.URL, "127.0.0.1", "localhost", 1)} {
		do(t, ctx, chromedp.Navigate(from))
		within, stop := context.WithTimeout(ctx, limit)
		tried, err := chromedp.Run(within, chromedp.Evaluate[string](attacks+"("+quoted(s.url)+")", await))
		stop()
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("from %s: %s", from, tried)
		if strings.Contains(tried, "200") {
			t.Errorf("from %s an answer was read: %s", from, tried)
		}
		do(t, ctx, until(form+"("+quoted(s.url)+")"), arrives(`"code":7`))
		var all struct {
			Studios []struct{ Name, DisplayName string }
		}
		s.call(t, http.MethodGet, "/v1/studios", nil, &all)
		if len(all.Studios) != 1 || all.Studios[0].Name != "studios/north" || strings.Contains(all.Studios[0].DisplayName, "elsewhere") {
			t.Fatalf("from %s: the studios are now %v", from, all.Studios)
		}
		for range 2 {
			do(t, ctx, chromedp.Navigate(from), press("Open the studio"), arrives("Bone white"),
				until(`navigator.serviceWorker.ready.then(() => true)`))
		}
	}
	// A name that was made to resolve to loopback is, for the browser, the pages' own.
	u, _ := url.Parse(s.url)
	do(t, ctx, chromedp.Navigate("http://rebound.example:"+u.Port()+"/v1/studios"),
		until(`document.body.innerText.includes('rebound.example') && !document.body.innerText.includes('north')`))
}
