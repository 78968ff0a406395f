package e2e

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

// said waits for what the frame says is done.
func said(text string) step {
	return until(`document.querySelector('.done').innerText === ` + quoted(text))
}

// option picks one of a few choices that are all in sight.
func option(text string) step {
	return chromedp.Click(fmt.Sprintf(`//fieldset[contains(@class, "oneof")]//label[normalize-space(.)=%q]`, text), chromedp.NodeVisible)
}

func TestReadingOfALoggedTileIsMended(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 2)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles"), press("Open or change tile t001"), press("Change this tile"), press("More about this tile"),
			option("Between two"), fill("Longest drip at least", "12"), fill("And at most", "9"), shows("Has to be more than the least"), fill("And at most", "15"),
			fill("Mean front", "8"), fill("Notes", "Read by lamp"), press("Save changes"), saveAnyway, said("Saved."),
			shows("measured 12 to 15 mm"), shows("mean front\n8 mm"), shows("read by lamp"))

		// Somebody else is quicker: both readings are shown, and nothing is stored before one is chosen.
		s.call(t, "PATCH", "/v1/studios/north/tiles/t001?updateMask=run_mm", object{"runMm": 9}, nil)
		do(t, ctx, option("Ran off"), press("Save changes"), saveAnyway, shows("Somebody else changed this meanwhile"), shows("measured 9 mm"), shows("Theirs: 9"), shows("Mine: off"),
			press("Use what is chosen"), press("Save changes"), saveAnyway, shows("measured ran off"), until(`!document.querySelector('.failed')`))
		var tile struct {
			MeanFrontMm *float64
			RanOff      *object
			Notes       string
		}
		s.call(t, "GET", "/v1/studios/north/tiles/t001", nil, &tile)
		if tile.MeanFrontMm != nil || tile.RanOff == nil || tile.Notes != "Read by lamp" {
			t.Errorf("stored is %+v, want that it ran off, without a mean front, with its notes", tile)
		}
	})
}

func TestLotIsMixedFromItsOwnRecipe(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/slate-blue"), shows("No lot yet"), settled, until(`document.querySelectorAll('.plot .steps path').length === 6`),
		fill("New lot", "Winter"), option("From its own recipe"),
		// The glaze's recipe is there to start from; the fields of the lot come after those of the glaze.
		chromedp.Click(`(//label[text()="Material 1"])[2]/following::input[1]`), until(`(document.activeElement.select(), true)`), chromedp.KeyEvent("unobtainable"),
		press("Add the lot"), until(`[...document.querySelectorAll('.failed')].some((f) => f.innerText.includes('unobtainable'))`),
		chromedp.Click(`(//label[text()="Material 1"])[2]/following::input[1]`), until(`(document.activeElement.select(), true)`), chromedp.KeyEvent("potash feldspar (orthoclase)"),
		press("Add the lot"), shows("Its own recipe: potash feldspar (orthoclase) 44, silica 20"))
	var lot struct{ Composition *object }
	s.call(t, "GET", "/v1/studios/north/glazes/slate-blue/lots/winter", nil, &lot)
	if lot.Composition == nil {
		t.Error("the lot has no composition of its own")
	}
	do(t, ctx, press("Change Winter"), option("As the glaze"), press("Save the lot"), shows("Made as the glaze"),
		press("Delete the lot"), press("Delete Winter"), shows("No lot yet"))
}

func TestBufferBandIsTriedAndTakenAway(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	for _, wall := range []string{"", "&ware=shouldered-vase"} {
		ctx := window(t, desk)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=bone-white~3~b&layer=honey-run~3~b&firing=cone-6&band=60&clearance=20"+wall), shows("be a buffer of"), settled)
		const trial = `//li[contains(@class, "trial")][contains(., "be a buffer of")]`
		risk := read[string](t, ctx, `[...document.querySelectorAll('.trial')].find((l) => l.innerText.includes('be a buffer of')).querySelector('.risk').innerText`)
		do(t, ctx, chromedp.Click("("+trial+"//button)[1]"), until(`location.search.includes('lower=')`), settled,
			until(`document.querySelector('.verdict .risk')?.innerText === `+quoted(risk)),
			shows("With a buffer of"), shows("A buffer of"), until(`document.querySelectorAll('.wall .buffer-line path').length === 2`),
			until(`document.querySelector('.wall svg').getAttribute('aria-label').includes('A buffer of')`))
		if wall == "" {
			// It stays a straight wall, whose lean can be changed.
			do(t, ctx, fill("Lean, from level", "80"), until(`location.search.includes('angle=80') && !location.search.includes('shape=')`), settled, until(`document.querySelectorAll('.wall .buffer-line path').length === 2`))
		}
		do(t, ctx, press("Take the buffer away"), until(`!location.search.includes('lower=')`), settled, until(`!document.querySelector('.wall .buffer-line')`))
		if search := read[string](t, ctx, `location.search`); !strings.Contains(search, "band=60&clearance=20") {
			t.Errorf("without its buffer the band lies at %s, want where it was before", search)
		}
	}
}

// outlet stands between a browser and the server and can be pulled.
func outlet(t *testing.T, to *server) (*server, *atomic.Bool) {
	t.Helper()
	target, err := url.Parse(to.url)
	if err != nil {
		t.Fatal(err)
	}
	pulled := new(atomic.Bool)
	proxy := httputil.NewSingleHostReverseProxy(target)
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if pulled.Load() {
			panic(http.ErrAbortHandler) // the connection breaks without an answer
		}
		proxy.ServeHTTP(w, r)
	}))
	t.Cleanup(front.Close)
	return &server{front.URL}, pulled
}

// Whoever has opened the pages once can open them again where there is no network, and log.
func TestPagesOpenAndLogWithoutTheServer(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	front, pulled := outlet(t, s)
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(front.url+"/studios/north/tiles"), until(`navigator.serviceWorker.controller`),
		// The second time it is the worker that asks, and it keeps what it is told.
		chromedp.Reload(), shows("No tile yet"), settled, chromedp.Navigate(front.url+"/studios/north/"+oneLayer), shows("Log the tile"), settled)
	pulled.Store(true)
	do(t, ctx, chromedp.Reload(), shows("Log the tile"), until(`document.body.innerText.includes('The server is not reached')`),
		fill("Longest drip", "9"), logTile, shows("Kept on this device"),
		chromedp.Navigate(front.url+"/studios/north/tiles"), shows("Waiting to be sent"), choose("Firing", "Cone 6, slow"),
		choose("Glaze of layer 1", "Bone white"), option("Did not move"), logTile, until(`document.querySelector('.head').innerText.includes('2 tiles waiting')`))
	pulled.Store(false)
	do(t, ctx, chromedp.Reload(), until(`!document.querySelector('.head').innerText.includes('waiting')`), shows("measured 9 mm"), until(`!document.body.innerText.includes('The server is not reached')`))
	if n := s.tiles(t, "north"); n != 2 {
		t.Errorf("the server has %d tiles, want 2", n)
	}
}
