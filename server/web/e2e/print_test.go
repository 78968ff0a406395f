package e2e

import (
	"bytes"
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

// printed returns how many sheets of paper the page takes.
func printed(t *testing.T, s *server, path, ready, name string, steps ...step) int {
	t.Helper()
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+path), shows(ready))
	do(t, ctx, steps...)
	do(t, ctx, settled)
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	if err != nil {
		t.Fatal(err)
	}
	if *screenshots != "" {
		if err := os.WriteFile(*screenshots+"/"+name+".pdf", pdf, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// ISO 32000-1, 7.7.3.3: every page is an object of the type Page; the tree above them is of the type Pages.
	return bytes.Count(pdf, []byte("/Type /Page\n")) + bytes.Count(pdf, []byte("/Type /Page/"))
}

func TestPrintedPages(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 6)
	for name, page := range map[string]shot{
		"sheet": shots()[2],
		"shelf": {"shelf", "shelf?add=1&" + vase, "Plan for the kiln", nil},
	} {
		if n := printed(t, s, page.path, page.ready, name, page.steps...); n != 1 {
			t.Errorf("%s: takes %d pages, want 1", name, n)
		}
	}
	// Twenty glazes with each other are the most that people print; they fit too.
	for i := range 14 {
		s.call(t, "POST", "/v1/studios/north/glazes", object{"displayName": "Jar with a long name " + string(rune('A'+i)), "coneFrom": "6", "described": object{"behaviour": "BEHAVIOUR_MOBILE"}}, nil)
	}
	if n := printed(t, s, "sheet", "What goes on the sheet", "sheet-20", press("Score 400 combinations"), shows("Runs and risks"), until(`!document.querySelector('progress')`)); n != 1 {
		t.Errorf("a sheet of 20 by 20 takes %d pages, want 1", n)
	}
	// On paper there is nothing to press.
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+shots()[2].path), shows("Runs and risks"), until(`!document.querySelector('progress')`), media("print", "dark"))
	if pressable := read[int](t, ctx, `[...document.querySelectorAll('button, nav, header.head, input, select')].filter((e) => e.getClientRects().length).length`); pressable != 0 {
		t.Errorf("%d things to press are printed", pressable)
	}
	if colour := read[string](t, ctx, `getComputedStyle(document.body).color`); colour != "rgb(0, 0, 0)" {
		t.Errorf("the print is in %s", colour)
	}
}
