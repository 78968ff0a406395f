package e2e

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// read evaluates an expression in the page.
func read[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return got
}

func eachScreen(t *testing.T, test func(t *testing.T, s screen)) {
	for _, s := range []screen{desk, phone} {
		t.Run(s.name, func(t *testing.T) { test(t, s) })
	}
}

// settled waits until no answer is on its way.
var settled = until(`!document.querySelector('[aria-busy=true]') && !document.querySelector('.waiting')`)

func TestScoreFollowsWhatIsTyped(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 12)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		// An address without a question starts with something to change.
		do(t, ctx, chromedp.Navigate(s.url+"/"), shows("chance that a drip passes the foot"))
		t.Logf("first score drawn %.0f ms after the page was asked for", read[float64](t, ctx, `performance.now()`))
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=bone-white~2~b&firing=cone-6"), shows("bare wall to leave"), settled)
		before := read[string](t, ctx, `document.querySelector('.verdict .big').innerText`)
		if sc.phone {
			do(t, ctx, press("Bone white 2×, Cone 6, slow"))
		}
		do(t, ctx, fill("Coats", "5"), until(`document.querySelector('.verdict .big').innerText !== `+quoted(before)), settled)
		if address := read[string](t, ctx, `location.search`); !strings.Contains(address, "bone-white%7E5%7Eb") && !strings.Contains(address, "bone-white~5~b") {
			t.Errorf("the address %s does not hold five coats", address)
		}
		// Nonsense is said to be nonsense and leaves the score as it is.
		five := read[string](t, ctx, `document.querySelector('.verdict .big').innerText`)
		do(t, ctx, fill("Coats", "many"), shows("Not a number."), shows("Old score."), until(`document.querySelector('.glance').innerText.includes('Old')`),
			until(`document.querySelector('.verdict .big').innerText === `+quoted(five)), fill("Coats", "21"), shows("At most 20"), shows("Old score."))
		t.Logf("answers to the last questions came after %v ms", read[[]float64](t, ctx, `performance.getEntriesByType('resource').filter((r) => r.name.endsWith(':draw')).map((r) => Math.round(r.duration)).slice(-4)`))
		do(t, ctx, fill("Coats", "5"), until(`!document.querySelector('.old')`), choose("Ware or tile", "Shouldered vase"), until(`location.search.includes('ware=shouldered-vase')`), settled,
			until(`document.querySelector('.wall svg').getAttribute('aria-label').startsWith('Section of the wall')`))
	})
}

func TestAdviceIsTakenWithOnePress(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=bone-white~2~b&layer=honey-run~3~b&firing=cone-6&clearance=20"), shows("Try it"), settled)
	said := read[string](t, ctx, `document.querySelector('.trial .risk').innerText`)
	do(t, ctx, press("Try it"), until(`document.querySelector('.verdict .risk')?.innerText === `+quoted(said)))
	// Back undoes it.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`history.back()`), until(`location.search.includes('clearance=20')`), settled)
}

func TestLayersAreReordered(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	order := `[...document.querySelectorAll('.layers li select:first-of-type')].filter((x) => x.id && document.querySelector('label[for="' + x.id + '"]').textContent.startsWith('Glaze')).map((x) => x.value).join()`
	at := s.url + "/studios/north/score?layer=bone-white~2~b&layer=honey-run~3~b&layer=slate-blue~1~b&firing=cone-6"

	do(t, ctx, chromedp.Navigate(at), shows("what would help"), press("Layer 1 later"), until(order+` === 'honey-run,bone-white,slate-blue'`))

	// Dragged from the first place to the last.
	type box struct{ X, Y float64 }
	middle := func(n int) box {
		return read[box](t, ctx, fmt.Sprintf(`(() => { const b = document.querySelectorAll('.layers .grip')[%d].getBoundingClientRect(); return {X: b.x + b.width / 2, Y: b.y + b.height / 2}; })()`, n))
	}
	from, to := middle(0), middle(2)
	do(t, ctx, chromedp.DragAndDropXY(from.X, from.Y, to.X, to.Y, 12), until(order+` === 'bone-white,slate-blue,honey-run'`))
	do(t, ctx, until(`document.querySelector('.layers [role=status]').textContent.includes('is now layer 3 of 3')`))
}

// download presses a button and returns the file that the page hands out.
func download(t *testing.T, ctx context.Context, button string) string {
	t.Helper()
	do(t, ctx,
		chromedp.Evaluate[chromedp.Void](`(() => { const make = URL.createObjectURL; URL.createObjectURL = (b) => { b.text().then((text) => (window.handed = text)); return make.call(URL, b); }; })()`),
		press(button), until(`window.handed !== undefined`))
	return read[string](t, ctx, `window.handed`)
}

func TestSheetIsScoredFilteredSavedAndFollowed(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/sheet"), press("Score 36 combinations"), shows("Runs and risks"), until(`!document.querySelector('progress')`),
			shows("Of unknown chemistry"))
		if sc.phone {
			do(t, ctx, until(`document.querySelectorAll('.sheet .items li').length === 36`), press("Matrix"))
		}
		do(t, ctx, until(`document.querySelectorAll('.matrix td a').length === 36`))
		lines := strings.Split(strings.TrimSpace(download(t, ctx, "Download CSV")), "\r\n")
		if len(lines) != 37 || !strings.HasPrefix(lines[0], "firing,under,over,median_run_mm") {
			t.Errorf("the CSV has %d lines and starts %q", len(lines), lines[0])
		}
		do(t, ctx, fill("Find a glaze", "slate"), until(`document.querySelectorAll('.matrix td a').length === 11`))
		cell := read[string](t, ctx, `document.querySelector('.matrix td a').textContent`)
		do(t, ctx, chromedp.Click(".matrix td a"), shows("chance that a drip passes the foot"), settled)
		median := read[string](t, ctx, `document.querySelector('.verdict .big').innerText`)
		if !strings.Contains(cell, "median drip "+strings.Fields(median)[0]) {
			t.Errorf("the sheet says %q, the score says %q", cell, median)
		}
		name := "All on " + sc.name
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/sheet"), press("Save as a sheet"), fill("Name of the sheet", name), press("Save sheet"),
			until(`location.search.includes('sheet=all-on-`+sc.name+`')`), until(`document.querySelector('.sheet h2')?.innerText === `+quoted(name)))
		// Its link opens and scores it.
		do(t, ctx, chromedp.Reload(), until(`document.querySelector('.sheet h2')?.innerText === `+quoted(name)))
	})
}

// A glaze between two others: each choice has a matrix of its own, and a field leads to the score of its three layers.
func TestSheetOfThreeLayers(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/sheet?under=bone-white,slate-blue&between=honey-run,bone-white&over=slate-blue,honey-run&firings=cone-6"),
			shows("Runs and risks"), until(`!document.querySelector('progress')`))
		if sc.phone {
			do(t, ctx, press("Matrix"))
		}
		do(t, ctx, until(`document.querySelectorAll('.matrix td a').length === 4`))
		lines := strings.Split(strings.TrimSpace(download(t, ctx, "Download CSV")), "\r\n")
		if len(lines) != 9 || !strings.HasPrefix(lines[0], "firing,under,between,over,median_run_mm") {
			t.Errorf("the CSV has %d lines and starts %q", len(lines), lines[0])
		}
		first := read[string](t, ctx, `document.querySelector('.matrix td a').textContent`)
		do(t, ctx, choose("Between", "Bone white"), until(`document.querySelector('.matrix td a').textContent !== `+quoted(first)))
		cell := read[string](t, ctx, `document.querySelector('.matrix td a').textContent`)
		do(t, ctx, chromedp.Click(".matrix td a"), shows("chance that a drip passes the foot"), settled)
		median := read[string](t, ctx, `document.querySelector('.verdict .big').innerText`)
		if !strings.Contains(cell, "median drip "+strings.Fields(median)[0]) || !strings.HasPrefix(cell, "Slate blue over Bone white over Bone white") {
			t.Errorf("the sheet says %q, the score says %q", cell, median)
		}
		if n := read[int](t, ctx, `document.querySelectorAll('.layers > *').length`); n < 3 {
			t.Errorf("the score shows %d layers", n)
		}
	})
}

func TestTilesAreLoggedFromAScore(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=bone-white~2~b&layer=slate-blue~2~b&firing=cone-6"), shows("Log the tile"), settled,
			fill("Longest drip", "12,5"), logTile, shows("Logged. It was said beforehand"),
			press("Log another tile"), option("Ran off"), logTile, shows("Logged."))
		do(t, ctx, press("Tiles"), shows("measured 12.5 mm"), shows("measured ran off (over 30 mm)"), shows("Slate blue 2× over Bone white 2×"))
	})
}

func TestTilesComeInAndGoOutAsCSV(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 6)
	s.invent(t, "south", 0)
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles"), shows("measured"))
	csv := download(t, ctx, "Download all tiles")
	if lines := strings.Count(strings.TrimSpace(csv), "\n"); lines != 6 {
		t.Fatalf("%d lines below the header, want 6:\n%s", lines, csv)
	}
	spoilt := strings.Replace(csv, "cone-6", "no-such-firing", 1)
	file := filepath.Join(t.TempDir(), "tiles.csv")
	if err := os.WriteFile(file, []byte(spoilt), 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.Navigate(s.url+"/studios/south/tiles"), shows("No tile yet"),
		chromedp.SetUploadFiles(`input[type=file]`, []string{file}), shows("From tiles.csv"),
		press("Bring in"), shows("0 tiles logged"), shows("no-such-firing"),
		press("Log the good lines even if others are bad"), press("Bring in"), shows("5 tiles logged"), shows("measured"))
}

func TestShelfIsPlannedFromAScore(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?"+vase), shows("what to expect"), settled, press("Put it on the shelf plan"),
			shows("Plan for the kiln"), shows("1 × Piece 1"), press("Change"), fill("What it is called", "Tall vase"), fill("How many", "3"), shows("3 × Tall vase"), settled,
			press("Copy Tall vase"), shows("Tall vase too"), settled,
			until(`document.querySelectorAll('.cards tbody tr').length === 2`))
		// The link holds the whole load, in another browser too.
		link := read[string](t, ctx, `location.href`)
		other := window(t, sc)
		do(t, other, chromedp.Navigate(link), shows("3 × Tall vase"), shows("Plan for the kiln"))
	})
}

func TestRecordShowsProofAndWhatToFireNext(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 36)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/record"), shows("36\ntiles scored beforehand"), shows("By glaze and cone"),
			until(`document.querySelectorAll('.plot .dot').length >= 36`),
			press("Find the tiles that teach most"), shows("settles"),
			choose("Glaze", "Marsh green"), choose("Old lot", "Bucket of spring"), choose("New lot", "Bucket of autumn"), shows("chance that the new lot runs clearly more"))
		do(t, ctx, chromedp.Reload(), shows("chance that the new lot runs clearly more"))
		if !sc.phone {
			do(t, ctx, press("Fit all tiles"), shows("Calibration 2"))
			// Whichever of the two is not in use can be taken.
			do(t, ctx, until(`document.querySelectorAll('.tile-list .tag').length >= 1`), press("Use it"), settled, shows("in use"))
		}
	})
}

func TestGlazeIsEnteredAndMelted(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		name := "Pond " + sc.name
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/new"), fill("Name", name),
			fill("Material 1", "potash feldspar (orthoclase)"), fill("Parts", "60"), shows("Seger formula"), shows("K2O"),
			press("+ Material"), fill("Material 2", "whiting"),
			chromedp.Click(`(//label[text()="Parts"])[2]/following::input[1]`), chromedp.KeyEvent("40"), shows("CaO"),
			until(`document.querySelector('.plot .band path')`),
			press("Store the glaze"), shows("Alone, by coats"), until(`document.querySelectorAll('.plot .steps path').length === 6`),
			fill("New lot", "Bucket 1"), press("Add the lot"), shows("Bucket 1"))
		if path := read[string](t, ctx, `location.pathname`); path != "/studios/north/glazes/pond-"+sc.name {
			t.Errorf("the stored glaze is at %s", path)
		}
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/new"), fill("Material 1", "unobtainable"), fill("Parts", "10"), until(`document.querySelector('.failed')?.innerText.includes('unobtainable')`))
	})
}

func TestFiringIsEnteredAndDrawn(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/firings/new"), fill("Name", "Long hold "+sc.name), shows("equivalent cone"), settled)
		before := read[string](t, ctx, `document.querySelector('.figures4 strong').innerText`)
		do(t, ctx, fill("Hold at the peak", "60"), until(`document.querySelector('.figures4 strong').innerText !== `+quoted(before)),
			press("Store the firing"), until(`location.pathname.endsWith('/firings/long-hold-`+sc.name+`')`))
		// A kiln's own log.
		var log strings.Builder
		log.WriteString("minutes,temperature_c\n")
		for minute := 0; minute <= 480; minute += 10 {
			fmt.Fprintf(&log, "%d,%g\n", minute, 20+2.5*float64(minute))
		}
		file := filepath.Join(t.TempDir(), "log.csv")
		if err := os.WriteFile(file, []byte(log.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/firings/new"), press("Kiln log"), chromedp.SetUploadFiles(`input[type=file]`, []string{file}), shows("1220 °C"), until(`document.querySelector('.plot .line path')`))
	})
}

func TestWareIsTracedOverAPhotograph(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	// A dark pot on a pale ground: 300 pixels high, 100 from its axis at x = 200.
	photo := image.NewRGBA(image.Rect(0, 0, 400, 400))
	for y := range 400 {
		for x := range 400 {
			shade := color.RGBA{230, 225, 215, 255}
			if x > 100 && x < 300 && y > 50 && y < 350 {
				shade = color.RGBA{90, 60, 40, 255}
			}
			photo.Set(x, y, shade)
		}
	}
	file := filepath.Join(t.TempDir(), "pot.png")
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(f, photo); err != nil {
		t.Fatal(err)
	}
	f.Close()
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/wares/new"), fill("Name", "Traced "+sc.name), choose("Shape", "Points"),
			chromedp.SetUploadFiles(`input[type=file]`, []string{file}), shows("Still needed"))
		at := func(x, y float64) step {
			return func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
				type box struct{ X, Y, W float64 }
				b, err := chromedp.Evaluate[box](`(() => { const s = document.querySelector('.photo svg'); s.scrollIntoView({block: 'center'}); const b = s.getBoundingClientRect(); return {X: b.x, Y: b.y, W: b.width}; })()`)(ctx, target)
				if err != nil {
					return chromedp.Void{}, err
				}
				return chromedp.MouseClickXY(b.X+x/400*b.W, b.Y+y/400*b.W)(ctx, target)
			}
		}
		do(t, ctx, at(280, 350), at(300, 200), at(250, 50), until(`document.querySelectorAll('.trace-point').length === 3`),
			press("a known length"), at(350, 50), at(350, 350), press("the middle"), at(200, 100), fill("The known length", "150"),
			press("Use this wall"), shows("points on the wall."), shows("150 mm high"), press("Store the ware"), until(`location.pathname.endsWith('/wares/traced-`+sc.name+`')`))
		// The picture stayed in the browser: no request had a body as large as it.
		if sent := read[bool](t, ctx, `performance.getEntriesByType('resource').some((r) => r.initiatorType === 'beacon')`); sent {
			t.Error("something was sent behind the page's back")
		}
	})
}

func TestLengthsInInches(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	at := s.url + "/studios/north/score?layer=bone-white~2~b&firing=cone-6&band=50.8&clearance=25.4"
	do(t, ctx, chromedp.Navigate(at), shows("the band starts 25 mm above the foot and ends at 76 mm"),
		chromedp.Evaluate[chromedp.Void](`(() => { const u = document.querySelector('[aria-label="Unit of length"]'); u.value = 'in'; u.dispatchEvent(new Event('change', {bubbles: true})); })()`),
		shows("the band starts 1.00 in above the foot and ends at 3.00 in"),
		fill("Bare wall below", "2"), until(`location.search.includes('clearance=50.8')`))
	// It is remembered.
	do(t, ctx, chromedp.Reload(), shows("the band starts 2.00 in"))
}

func TestEmptyAndWrongPlacesHelp(t *testing.T) {
	s := startServer(t)
	s.call(t, "POST", "/v1/studios?studioId=empty", object{"displayName": "Empty"}, nil)
	ctx := window(t, phone)
	for path, want := range map[string]string{
		"score": "Enter the first glaze", "sheet": "Enter the first glaze", "tiles": "No tile yet", "shelf": "Nothing in the kiln yet", "record": "No record yet",
		"glazes": "None yet", "glazes/none": "No glaze is called", "firings": "None yet", "wares/none": "No ware is called", "studio": "No body yet",
	} {
		do(t, ctx, chromedp.Navigate(s.url+"/studios/empty/"+path), shows(want))
	}
	do(t, ctx, chromedp.Navigate(s.url+"/studios/nowhere/score"), until(`document.querySelector('.failed')?.innerText.includes('Not found')`))
}

func TestStudioIsSetUp(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/studio"), shows("Pale stoneware"), fill("Tolerated chance of passing the foot", "10"), press("Save settings"), until(`document.querySelector(".done").innerText === "Saved."`),
		fill("New body", "Red earthenware"), press("Add the body"), until(`[...document.querySelectorAll('.tile strong')].some((e) => e.innerText === 'Red earthenware')`),
		press("New material"), fill("Name in recipes", "Ridge sand"), fill("SiO2", "68"), press("Add material"), press("Store it all the same"), shows("SiO2 68"))
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=bone-white~2~b&firing=cone-6"), shows("for 10 %"))
}

// What is stored can be changed where it was entered.
func TestStoredThingsAreChanged(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 1)
	ctx := window(t, desk)
	for _, place := range []string{"glazes/marsh-green", "firings/cone-6", "wares/rice-bowl"} {
		name := "Renamed " + place[:4]
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+place), fill("Name", name), press("Save changes"),
			until(`document.querySelector('.done').innerText === 'Saved.'`), until(`document.querySelector('.items').innerText.includes(`+quoted(name)+`)`))
	}
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles/t001"), press("Change this tile"), press("More about this tile"), press("Set aside: keep it, but do not learn from it"), press("Save changes"), said("Saved."),
		until(`document.querySelector('.tag:last-child')?.innerText === 'set aside'`))
}
