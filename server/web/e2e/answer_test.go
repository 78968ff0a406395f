package e2e

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// On a phone the risk, the millimetres to leave and the cookie are on the first screen, and the form is folded below them.
func TestPhoneShowsTheAnswerFirst(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 12)
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?"+vase), shows("what drives it"), settled)
	// The note at the foot of the window covers what is under it.
	type place struct {
		What   string
		Bottom float64
	}
	for _, p := range read[[]place](t, ctx, `['.verdict .risk', '.verdict .leave', '.verdict h3'].map((what) => ({What: what, Bottom: document.querySelector(what).getBoundingClientRect().bottom}))`) {
		if least := read[float64](t, ctx, `document.querySelector('.glance').getBoundingClientRect().top`); p.Bottom > least {
			t.Errorf("%s ends at %.0f px, the first screen at %.0f", p.What, p.Bottom, least)
		}
	}
	if read[bool](t, ctx, `document.querySelector('.asked').open`) {
		t.Error("the form is not folded")
	}
	// Why leads to what drives it, with the question still in the address.
	do(t, ctx, press("Why"), until(`(() => { const b = document.querySelector('#why').getBoundingClientRect(); return b.top >= 0 && b.top < innerHeight; })()`), until(`location.search.includes('ware=shouldered-vase')`))
	// Whoever comes back from another page finds the last question.
	do(t, ctx, press("Wares"), shows("Choose a ware"), press("Score"), until(`location.search.includes('ware=shouldered-vase')`), shows("what drives it"))
}

func TestUnknownAddressesSaySo(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, phone)
	for _, path := range []string{"/glazes", "/studios/north/kilns", "/studios/north/glazes/bone-white/more", "/studios/north/%E0%A4"} {
		do(t, ctx, chromedp.Navigate(s.url+path), shows("There is no page at this address"))
	}
	do(t, ctx, press("To the score"), shows("chance that a drip passes the foot"))
}

// The smallest phones show every page without scrolling to the side, with names as long as they may be.
func TestNothingOverflowsASmallPhone(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 12)
	long := "Averyveryverylongnamewithoutanyblankinit-Averyveryverylongnamewithoutanyblankinit-Averyveryverylongnamewithoutanyblankin"
	s.call(t, "PATCH", "/v1/studios/north/glazes/bone-white?updateMask=display_name", object{"displayName": long}, nil)
	s.call(t, "PATCH", "/v1/studios/north/firings/cone-6?updateMask=display_name", object{"displayName": long}, nil)
	s.call(t, "PATCH", "/v1/studios/north/wares/shouldered-vase?updateMask=display_name", object{"displayName": long}, nil)
	ctx := window(t, screen{"small", 320, 568, true})
	for _, page := range append(shots(), shot{"new-glaze", "glazes/new", "New glaze", nil}, shot{"new-firing", "firings/new", "equivalent cone", nil}, shot{"one-tile", "tiles/t003", "Score it today", []step{press("Change this tile")}}) {
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+page.path), until(`document.querySelector('main h1')`), settled)
		if page.name == "one-tile" {
			do(t, ctx, page.steps...)
		}
		do(t, ctx, until(`(document.querySelectorAll('main details').forEach((d) => (d.open = true)), true)`))
		if wide := read[int](t, ctx, `document.documentElement.scrollWidth`); wide > 320 {
			t.Errorf("%s is %d px wide: %s", page.name, wide, read[string](t, ctx, `[...document.querySelectorAll('main *')].filter((e) => e.getBoundingClientRect().right > 321 && !e.closest('.scrolled, svg')).slice(0, 4).map((e) => e.tagName + '.' + e.className + ' ' + e.textContent.slice(0, 30)).join(' | ')`))
		}
	}
}

// What was measured is shown as it was read, and inches may be fractions.
func TestMeasuredLengthsStayAsTheyWereRead(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=honey-run~3~b&firing=cone-6&clearance=60"), shows("Log the tile"), settled,
		fill("Longest drip", "11.5"), press("Log tile"), until(`document.querySelector('dialog.ask[open]') || document.querySelector('.saved')`),
		until(`([...document.querySelectorAll('dialog button')].find((b) => b.textContent === 'Log it all the same')?.click(), true)`), shows("Logged."),
		chromedp.Navigate(s.url+"/studios/north/tiles"), shows("measured 11.5 mm"),
		chromedp.Evaluate[chromedp.Void](`(() => { const u = document.querySelector('[aria-label="Unit of length"]'); u.value = 'in'; u.dispatchEvent(new Event('change', {bubbles: true})); })()`),
		press("open or change"), press("Change this tile"), fill("Longest drip", "1 3/8"), holds("Longest drip", "1 3/8"), press("Save changes"),
		until(`document.querySelector('dialog.ask[open]') || document.querySelector('.done').innerText === 'Saved.'`),
		until(`([...document.querySelectorAll('dialog button')].find((b) => b.textContent === 'Store it all the same')?.click(), true)`), shows("measured 1.375 in"))
}
