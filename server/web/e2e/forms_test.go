package e2e

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// nth is the n-th field with this label, counted from 1.
func nth(label string, n int) string {
	return fmt.Sprintf(`(//*[@id=//label[normalize-space(.)=%q]/@for])[%d]`, label, n)
}

// fillNth types into the n-th field with this label, in the place of what is there.
func fillNth(label string, n int, text string) step {
	return chromedp.Steps(chromedp.Click(nth(label, n), chromedp.NodeVisible), chromedp.Steps(
		until(`(document.activeElement.select?.(), true)`),
		chromedp.KeyEvent(text),
	))
}

// focused waits until the focus is in the field with this label.
func focused(label string) step {
	return until(`document.activeElement.labels?.[0]?.textContent.trim() === ` + quoted(label))
}

// holds waits until a field with this label shows this text.
func holds(label, text string) step {
	return until(fmt.Sprintf(`[...document.querySelectorAll('label')].some((l) => l.textContent.trim() === %s && document.getElementById(l.htmlFor)?.value === %s)`, quoted(label), quoted(text)))
}

// logTile logs what the form says, likely or not.
var logTile = chromedp.Steps(press("Log tile"), until(`(() => {
	const yes = [...document.querySelectorAll('dialog[open] button')].find((b) => b.textContent === 'Log it all the same');
	yes?.click();
	return yes || document.querySelector('.saved') || [...document.querySelectorAll('button')].some((b) => b.textContent === 'Log another tile');
})()`))

// saveAnyway answers yes if the page asks whether a reading is meant.
var saveAnyway = until(`(() => {
	const yes = [...document.querySelectorAll('dialog[open] button')].find((b) => b.textContent === 'Store it all the same');
	yes?.click();
	return yes || document.querySelector('.conflict') || !document.querySelector('form button.main:disabled') && [...document.querySelectorAll('button')].every((b) => b.textContent !== 'Undo changes');
})()`)

// asks waits until the page asks something that contains this text.
func asks(text string) step {
	return until(`document.querySelector('dialog.ask[open]')?.innerText.replaceAll('\u00a0', ' ').includes(` + quoted(text) + `)`)
}

// count is how many things of a collection a studio has.
func (s *server) count(t *testing.T, studio, collection string) int {
	t.Helper()
	var got map[string]any
	s.call(t, "GET", "/v1/studios/"+studio+"/"+collection, nil, &got)
	list, _ := got[collection].([]any)
	return len(list)
}

// A field that says that it cannot be read must not be left out with the rest stored.
func TestFormWithAFaultStoresNothing(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		glazes, firings := s.count(t, "north", "glazes"), s.count(t, "north", "firings")
		// A letter for a digit, and parts that were forgotten.
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/new"), fill("Name", "Slip "+sc.name),
			fillNth("Material 1", 1, "silica"), fillNth("Parts", 1, "20"),
			press("+ Material"), fillNth("Material 2", 1, "whiting"), fillNth("Parts", 2, "2O"),
			press("+ Material"), fillNth("Material 3", 1, "potash feldspar (orthoclase)"),
			press("Store the glaze"), shows("Nothing was stored"), shows("Not a number."), shows("A number is needed here."), focused("Parts"))
		if n := s.count(t, "north", "glazes"); n != glazes {
			t.Fatalf("%d glazes, want %d: a glaze was stored without what could not be read", n, glazes)
		}
		do(t, ctx, fillNth("Parts", 2, "20"), fillNth("Parts", 3, "60"), press("Store the glaze"), until(`location.pathname.endsWith('/glazes/slip-`+sc.name+`')`))
		var glaze struct{ Recipe struct{ Ingredients []any } }
		s.call(t, "GET", "/v1/studios/north/glazes/slip-"+sc.name, nil, &glaze)
		if len(glaze.Recipe.Ingredients) != 3 {
			t.Errorf("%d ingredients are stored, want 3", len(glaze.Recipe.Ingredients))
		}

		// A unit beside the number.
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/firings/new"), fill("Name", "Hold "+sc.name), shows("equivalent cone"), fill("Hold at the peak", "15 min"),
			press("Store the firing"), shows("Nothing was stored"), shows("the last entry that could be read"), focused("Hold at the peak"))
		if n := s.count(t, "north", "firings"); n != firings {
			t.Fatalf("%d firings, want %d: a firing was stored without its hold", n, firings)
		}
		do(t, ctx, fill("Hold at the peak", "15"), press("Store the firing"), until(`location.pathname.endsWith('/firings/hold-`+sc.name+`')`))

		// A list with one bad member.
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/studio"), fill("Cookie diameters, mm", "80, 1o0, 120"), press("Save settings"), shows("Nothing was stored"), shows("1o0: Not a number."))
		var studio struct {
			Settings struct{ CookieDiametersMm []float64 }
		}
		s.call(t, "GET", "/v1/studios/north", nil, &studio)
		if len(studio.Settings.CookieDiametersMm) != 0 {
			t.Errorf("stored are the cookies %v", studio.Settings.CookieDiametersMm)
		}
		do(t, ctx, press("Undo changes"))
	})
}

// What was used last is kept for the next tile, and nothing is chosen that nobody chose.
func TestLogFormKeepsWhatWasUsedLast(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles"), shows("No tile yet"), choose("Glaze of layer 1", "Honey run"),
		until(`document.getElementById([...document.querySelectorAll('label')].find((l) => l.textContent === 'Firing').htmlFor).value === ''`),
		fill("Longest drip", "3"), press("Log tile"), shows("Nothing was stored"), focused("Firing"))
	if n := s.tiles(t, "north"); n != 0 {
		t.Fatalf("%d tiles, want none without a firing", n)
	}
	do(t, ctx, choose("Firing", "Cone 6, slow"), shows("Said:"), press("Wall: band 60 mm over 30 mm bare"), fill("Bare wall below", "45"), fill("Kiln", "small"),
		press("More about this tile"), fill("Applied and read by", "ada"), logTile, shows("Logged."))
	// The same in a new page.
	do(t, ctx, chromedp.Reload(), shows("measured 3 mm"), holds("Firing", "cone-6"), press("Wall: band 60 mm over 45 mm bare; kiln small"), holds("Bare wall below", "45"), holds("Kiln", "small"),
		press("More about this tile"), holds("Applied and read by", "ada"))
	var got struct {
		Tiles []struct {
			Firing, Kiln, Tester string
			Placement            struct{ ClearanceMm float64 }
		}
	}
	s.call(t, "GET", "/v1/studios/north/tiles", nil, &got)
	if len(got.Tiles) != 1 || !strings.HasSuffix(got.Tiles[0].Firing, "/cone-6") || got.Tiles[0].Kiln != "small" || got.Tiles[0].Tester != "ada" || got.Tiles[0].Placement.ClearanceMm != 45 {
		t.Errorf("stored is %+v", got.Tiles)
	}
}

// A reading that comes less than once in a hundred, or is longer than the bare wall, is asked about.
func TestUnlikelyReadingIsAskedAbout(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		before := s.tiles(t, "north")
		ctx := window(t, sc)
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=honey-run~4~b&firing=cone-6&clearance=200&band=60"), shows("Log the tile"), settled,
			fill("Longest drip", "0.2"), press("Log tile"), asks("98 times in a hundred"), press("Back"), until(`!document.querySelector('dialog[open]')`))
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/score?layer=honey-run~4~b&firing=cone-6&clearance=20&band=60"), shows("Log the tile"), settled,
			fill("Longest drip", "25"), press("Log tile"), asks("The bare wall is 20 mm"))
		if n := s.tiles(t, "north"); n != before {
			t.Fatalf("%d tiles are stored before the question was answered, want %d", n, before)
		}
		do(t, ctx, chromedp.Click(`//dialog//button[normalize-space(.)="Ran off"]`, chromedp.NodeVisible), shows("Logged."))
		var got struct {
			Tiles []struct {
				RunMm  *float64
				RanOff *object
			}
		}
		s.call(t, "GET", "/v1/studios/north/tiles", nil, &got)
		if len(got.Tiles) != before+1 || got.Tiles[0].RanOff == nil || got.Tiles[0].RunMm != nil {
			t.Errorf("stored is %+v, want one more tile, that ran off", got.Tiles)
		}
	})
}

// Everything of a tile can be changed, and what was said beforehand stays while it is still the same tile.
func TestEverythingOfATileIsChanged(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 1)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		s.call(t, "DELETE", "/v1/studios/north/tiles/t001", nil, nil)
		s.call(t, "POST", "/v1/studios/north/tiles?tileId=t001", object{"layering": object{"layers": []object{{"glaze": "studios/north/glazes/bone-white", "coats": 2}}}, "firing": "studios/north/firings/cone-5", "didNotMove": object{}}, nil)
		type tile struct {
			Layering                                 struct{ Layers []struct{ Glaze string } }
			Firing, Kiln, Tester, FireDate, PhotoUri string
			Placement                                struct{ ClearanceMm float64 }
			WitnessCone                              struct{ Cone string }
			RunMm                                    float64
			Prediction                               *object
		}
		var got tile
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles/t001"), press("Change this tile"), press("More about this tile"),
			fill("Applied and read by", "grace"), fill("Witness cone", "5.5"), fill("Link to a photo", "https://example.org/t"), press("Save changes"), said("Saved."))
		s.call(t, "GET", "/v1/studios/north/tiles/t001", nil, &got)
		if got.Tester != "grace" || got.PhotoUri != "https://example.org/t" || got.WitnessCone.Cone != "5.5" {
			t.Errorf("stored is %+v", got)
		}
		do(t, ctx, choose("Glaze of layer 1", "Honey run"), choose("Firing", "Cone 6, slow"), press("Wall: band"), fill("Bare wall below", "50"), fill("Kiln", "big"),
			option("A run"), fill("Longest drip", "9"), shows("was said of another tile"), press("Save changes"), saveAnyway, shows("Honey run 2×"))
		got = tile{}
		s.call(t, "GET", "/v1/studios/north/tiles/t001", nil, &got)
		if !strings.HasSuffix(got.Layering.Layers[0].Glaze, "honey-run") || !strings.HasSuffix(got.Firing, "cone-6") || got.Placement.ClearanceMm != 50 || got.Kiln != "big" || got.RunMm != 9 || got.Tester != "grace" {
			t.Errorf("stored is %+v", got)
		}
	})
}

// A thumb that trembles logs once.
func TestDoubleTapLogsOnce(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+oneLayer), shows("Log the tile"), settled, option("Did not move"),
		chromedp.Evaluate[chromedp.Void](`(() => { const b = [...document.querySelectorAll('button')].find((b) => b.textContent === 'Log tile'); b.click(); b.click(); setTimeout(() => b.click(), 0); })()`),
		until(`([...document.querySelectorAll('dialog[open] button')].find((b) => b.textContent === 'Log it all the same')?.click(), document.querySelector('.saved'))`), shows("Logged."), until(`!document.querySelector('.waits')`))
	if n := s.tiles(t, "north"); n != 1 {
		t.Errorf("%d tiles are stored, want 1", n)
	}
	// The same of what is stored by forms.
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/firings/new"), fill("Name", "Twice"), shows("equivalent cone"),
		chromedp.Evaluate[chromedp.Void](`(() => { const b = [...document.querySelectorAll('button')].find((b) => b.textContent === 'Store the firing'); b.click(); b.click(); })()`),
		until(`location.pathname.endsWith('/firings/twice')`))
	if n := s.count(t, "north", "firings"); n != 3 {
		t.Errorf("%d firings are stored, want 3", n)
	}
}

// An analysis that does not add up is asked about.
func TestAnalysisThatDoesNotAddUpIsAskedAbout(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	glazes := s.count(t, "north", "glazes")
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/new"), fill("Name", "Forty"), option("Analysis"), fill("SiO2", "30"), fill("CaO", "10"), shows("Adds up to 40 %"),
		press("Store the glaze"), asks("adds up to 40 %"), press("Back"), until(`!document.querySelector('dialog[open]')`))
	if n := s.count(t, "north", "glazes"); n != glazes {
		t.Fatalf("%d glazes, want %d", n, glazes)
	}
	do(t, ctx, fill("SiO2", "66"), fill("Al2O3", "12"), fill("Na2O", "12"), press("Store the glaze"), until(`location.pathname.endsWith('/glazes/forty')`))
}

// Two glazes of one name can be told apart.
func TestTwoGlazesOfOneName(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	glazes := s.count(t, "north", "glazes")
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/new"), fill("Name", "bone  White"), option("Behaviour"), press("Store the glaze"), asks("There is a glaze called Bone white already"))
	if n := s.count(t, "north", "glazes"); n != glazes {
		t.Fatalf("%d glazes, want %d", n, glazes)
	}
	do(t, ctx, press("Store it all the same"), until(`!location.pathname.endsWith('/new')`), chromedp.Navigate(s.url+"/studios/north/"+oneLayer), settled,
		until(`(() => { const list = document.getElementById([...document.querySelectorAll('label')].find((l) => l.textContent === 'Glaze of layer 1').htmlFor);
			return [...list.options].filter((o) => o.text.toLowerCase().startsWith('bone')).map((o) => o.text).join('|').match(/bone-white; cone 5–6, potash feldspar/); })()`))
}

// The same file twice: its lines are named before anything is stored.
func TestFileThatIsThereAlreadyIsNamed(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, phone)
	file := filepath.Join(t.TempDir(), "tiles.csv")
	lines := "layer1_glaze,layer1_coats,firing,run_mm,fire_date\nbone-white,2,cone-6,2,2026-01-02\nhoney-run,2,cone-6,9,2026-01-02\n"
	if err := os.WriteFile(file, []byte(lines), 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles"), shows("No tile yet"), chromedp.SetUploadFiles(`input[type=file]`, []string{file}), shows("From tiles.csv"), press("Bring in"), shows("2 tiles logged"))
	if err := os.WriteFile(file, []byte(lines+"honey-run,3,cone-6,12,2026-01-02\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.Reload(), shows("measured 9 mm"), chromedp.SetUploadFiles(`input[type=file]`, []string{file}), shows("From tiles.csv"), press("Bring in"), asks("2 of 3 tiles are here already"), asks("Line 3 says the same as tile"))
	if n := s.tiles(t, "north"); n != 2 {
		t.Fatalf("%d tiles before the question was answered, want 2", n)
	}
	do(t, ctx, press("Bring in the other 1"), shows("1 tiles logged"), shows("measured 12 mm"))
	if n := s.tiles(t, "north"); n != 3 {
		t.Errorf("%d tiles, want 3", n)
	}
}

// What was typed is there again after a refresh, after Back and after another page, nonsense included.
func TestDraftsSurvive(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		typed := chromedp.Steps(holds("Name", "Half done"), holds("Parts", "4O"))
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes"), shows("New glaze"), press("+ New glaze"), fill("Name", "Half done"), fillNth("Material 1", 1, "silica"), fillNth("Parts", 1, "4O"),
			chromedp.Reload(), typed, shows("Not stored yet"))
		do(t, ctx, chromedp.Evaluate[chromedp.Void](`history.back()`), until(`location.pathname.endsWith('/glazes')`), chromedp.Evaluate[chromedp.Void](`history.forward()`), typed)
		do(t, ctx, press("Wares"), shows("Choose a ware"), press("Glazes"), press("+ New glaze"), typed)
		do(t, ctx, press("Undo changes"), holds("Name", ""))
		// A tile as well, and a stored glaze.
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles"), shows("No tile yet"), choose("Glaze of layer 1", "Bone white"), fill("Longest drip", "11.5"), chromedp.Reload(), holds("Longest drip", "11.5"), holds("Glaze of layer 1", "bone-white"))
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/bone-white"), fill("Notes", "Sieve twice"), chromedp.Reload(), holds("Notes", "Sieve twice"))
	})
}

// Somebody else was quicker: theirs and mine side by side, chosen field by field.
func TestConflictOffersBoth(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	eachScreen(t, func(t *testing.T, sc screen) {
		ctx := window(t, sc)
		id := "bone-white"
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/"+id), settled, fill("Notes", "Mine "+sc.name))
		s.call(t, "PATCH", "/v1/studios/north/glazes/"+id+"?updateMask=notes,surface", object{"notes": "Theirs " + sc.name, "surface": "SURFACE_MATTE"}, nil)
		do(t, ctx, press("Save changes"), shows("Somebody else changed this meanwhile"), shows("Theirs: Theirs "+sc.name), shows("Mine: Mine "+sc.name), shows("Theirs: matte"))
		var glaze struct{ Notes, Surface string }
		s.call(t, "GET", "/v1/studios/north/glazes/"+id, nil, &glaze)
		if glaze.Notes != "Theirs "+sc.name {
			t.Fatalf("stored is %q before anybody chose", glaze.Notes)
		}
		do(t, ctx, press("Use what is chosen"), press("Save changes"), said("Saved."))
		s.call(t, "GET", "/v1/studios/north/glazes/"+id, nil, &glaze)
		if glaze.Notes != "Mine "+sc.name || glaze.Surface != "SURFACE_MATTE" {
			t.Errorf("stored is %+v, want my notes and their surface", glaze)
		}
		s.call(t, "PATCH", "/v1/studios/north/glazes/"+id+"?updateMask=surface", object{"surface": "SURFACE_SATIN"}, nil)
	})
}

// A stored material can be changed, and deleting says what depends on it.
func TestMaterialIsChangedAndDeletingSaysWhatUsesIt(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 6)
	ctx := window(t, phone)
	s.call(t, "POST", "/v1/studios/north/materials?materialId=ridge-sand", object{"displayName": "Ridge sand", "oxidesPercent": object{"SiO2": 97, "Fe2O3": 2}}, nil)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/studio"), shows("Ridge sand"), press("Change Ridge sand"), fill("Fe2O3", "3"), press("Save the material"), said("Saved."), shows("Fe2O3 3"))
	s.call(t, "POST", "/v1/studios/north/glazes?glazeId=sandy", object{"displayName": "Sandy", "coneFrom": "6", "recipe": object{"ingredients": []object{{"material": "Ridge sand", "amount": 30}, {"material": "whiting", "amount": 70}}}}, nil)
	do(t, ctx, chromedp.Reload(), shows("Ridge sand"), press("Change Ridge sand"), press("Delete the material"), asks("The recipes of Sandy"), press("Back"))

	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/bone-white"), settled, press("Delete"), asks("This cannot be undone"), asks("tiles: what was measured"), press("Back"))
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes/marsh-green"), settled, press("Delete"), asks("2 lots, deleted with it: Bucket of"), press("Delete Marsh green"), until(`location.pathname.endsWith('/glazes')`))
	if n := s.count(t, "north", "glazes"); n != 6 {
		t.Errorf("%d glazes, want 6", n)
	}
}

// Nonsense in every field of every form: nothing is stored, and nothing breaks.
func TestNonsenseInEveryField(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 1)
	ctx := window(t, phone)
	for _, place := range []string{"glazes/bone-white", "glazes/honey-run", "firings/cone-6", "wares/shouldered-vase", "studio", "tiles/t001", "tiles"} {
		var before, after object
		if place != "tiles" && place != "studio" {
			s.call(t, "GET", "/v1/studios/north/"+place, nil, &before)
		}
		do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+place), until(`document.querySelector('main form')`), settled,
			until(`(document.querySelectorAll('main details').forEach((d) => (d.open = true)), true)`))
		n := read[int](t, ctx, `document.querySelectorAll('main form input[inputmode=decimal]').length`)
		if n == 0 {
			t.Fatalf("%s has no fields for numbers", place)
		}
		for i := range n {
			do(t, ctx, func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
				return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
					const i = document.querySelectorAll('main form input[inputmode=decimal]')[%d];
					i.value = '4O'; i.dispatchEvent(new Event('input', {bubbles: true}));
				})()`, i))(ctx, target)
			}, until(fmt.Sprintf(`document.querySelectorAll('main form input[inputmode=decimal]')[%d].getAttribute('aria-invalid') === 'true'`, i)))
		}
		do(t, ctx, chromedp.Focus(`main form input[inputmode=decimal]`), chromedp.KeyEvent(kb.Enter), shows("Nothing was stored"))
		if place != "tiles" && place != "studio" {
			s.call(t, "GET", "/v1/studios/north/"+place, nil, &after)
			if before["etag"] != after["etag"] {
				t.Errorf("%s was stored with nonsense in its fields", place)
			}
		}
	}
}
