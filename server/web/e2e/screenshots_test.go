package e2e

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

var screenshots = flag.String("screenshots", "", "folder to write pictures of every page to; empty: none are made")

// shot is one page as a person would come to it.
type shot struct {
	name, path, ready string
	steps             []step
}

const vase = "layer=bone-white~2~b&layer=honey-run~2~b&body=pale-stoneware&firing=cone-6&ware=shouldered-vase&band=60&clearance=35"

func shots() []shot {
	return []shot{
		{"score", "score?" + vase, "What drives it", []step{shows("Try it")}},
		{"score-tile", "score?layer=bone-white~2~b&layer=honey-run~2~b&firing=cone-6", "What drives it", nil},
		{"sheet", "sheet?under=marsh-green,slate-blue,bone-white,rust-slip,honey-run,jar-black&over=marsh-green,slate-blue,bone-white,rust-slip,honey-run,jar-black&firings=cone-6", "Runs and risks", []step{until(`!document.querySelector('progress')`)}},
		{"tiles", "tiles", "measured", nil},
		{"shelf", "shelf?add=1&" + vase, "Plan for the kiln", nil},
		{"record", "record", "Error over time", []step{shows("Calibration 1")}},
		{"glaze", "glazes/marsh-green", "silica to alumina", []step{until(`document.querySelectorAll('.plot').length === 2`)}},
		{"firing", "firings/cone-6", "equivalent cone", []step{until(`document.querySelector('.plot')`)}},
		{"ware", "wares/shouldered-vase", "The wall", nil},
		{"studio", "studio", "Pale stoneware", nil},
	}
}

func TestScreenshots(t *testing.T) {
	if *screenshots == "" {
		t.Skip("make screenshots makes the pictures")
	}
	if err := os.MkdirAll(*screenshots, 0o755); err != nil {
		t.Fatal(err)
	}
	s := startServer(t)
	s.invent(t, "north", 48)
	for _, sc := range []screen{desk, phone} {
		for _, scheme := range []string{"light", "dark"} {
			ctx := window(t, sc)
			for _, sh := range shots() {
				do(t, ctx, media("", scheme), chromedp.Navigate(s.url+"/studios/north/"+sh.path), shows(sh.ready))
				do(t, ctx, sh.steps...)
				png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(*screenshots, sh.name+"-"+sc.name+"-"+scheme+".png"), png, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}
