package e2e

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"google.golang.org/grpc"

	"github.com/catchline/catchline/client"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/testdata/demo"
)

var (
	screenshots = flag.String("screenshots", "", "folder to write pictures of every page to, whole pages on a desk and on a phone, light and dark; empty: none are made")
	pictures    = flag.String("pictures", "", "folder to write the few pictures of the README to; empty: none are made")
)

// shot is one page as a person would come to it.
type shot struct {
	name, path, ready string
	steps             []step
}

var scored = until(`!document.querySelector('progress')`)

// shots are the pages of the invented studio of these tests.
func shots() []shot {
	const six = "marsh-green,slate-blue,bone-white,rust-slip,honey-run,jar-black"
	return []shot{
		{"score", "score?" + vase, "What drives it", []step{shows("Try it")}},
		{"score-tile", "score?layer=bone-white~2~b&layer=honey-run~2~b&firing=cone-6", "What drives it", nil},
		{"sheet", "sheet?under=" + six + "&over=" + six + "&firings=cone-6", "Runs and risks", []step{scored}},
		{"tiles", "tiles", "measured", nil},
		{"shelf", "shelf?add=1&" + vase, "Plan for the kiln", nil},
		{"record", "record", "Error over time", []step{shows("Calibration 1")}},
		{"glaze", "glazes/marsh-green", "silica to alumina", []step{until(`document.querySelectorAll('.plot').length === 2`)}},
		{"firing", "firings/cone-6", "equivalent cone", []step{until(`document.querySelector('.plot')`)}},
		{"ware", "wares/shouldered-vase", "The wall", nil},
		{"studio", "studio", "Pale stoneware", nil},
	}
}

const vase = "layer=bone-white~2~b&layer=honey-run~2~b&body=pale-stoneware&firing=cone-6&ware=shouldered-vase&band=60&clearance=35"

// demoShots are the same pages of the demo studio that comes with the service.
func demoShots() []shot {
	const vase = "layer=fen-satin~2~b&layer=lintel-amber~2~b&body=pale-stoneware&firing=cone-6&ware=vase&band=60&clearance=45"
	return []shot{
		{"score", "score?" + vase, "What drives it", []step{shows("Try it")}},
		{"score-tile", "score?layer=tarn-clear~2~b&layer=skerry-blue~2~b&firing=cone-6", "What drives it", []step{settled}},
		{"sheet", "sheet?sheet=cone-6-pairs", "find a glaze", []step{scored}},
		{"tiles", "tiles", "measured", nil},
		{"shelf", "shelf", "The load", []step{
			chromedp.SetUploadFiles(`input[type=file]`, []string{demoFile("shelf.json")}), shows("Plan for the kiln"), settled,
		}},
		{"record", "record", "Error over time", []step{shows("Calibration 1")}},
		{"glaze", "glazes/tarn-clear", "silica to alumina", []step{until(`document.querySelectorAll('.plot').length === 2`)}},
		{"firing", "firings/cone-6-hold", "equivalent cone", []step{until(`document.querySelector('.plot')`)}},
		{"ware", "wares/vase", "The wall", nil},
		{"studio", "studio", "speckled stoneware", nil},
	}
}

// demoFile is a file of the demo studio, by a path that the browser can open.
func demoFile(name string) string {
	path, err := filepath.Abs(filepath.Join("..", "..", "..", "testdata", "demo", name))
	if err != nil {
		panic(err) // only without a working directory
	}
	return path
}

func startDemo(t *testing.T) *server {
	t.Helper()
	return serve(t, process.Options{Seed: func(ctx context.Context, conn grpc.ClientConnInterface) error {
		return demo.Seed(ctx, client.Over(conn))
	}}, demoOn)
}

func picture(t *testing.T, ctx context.Context, take chromedp.Action[[]byte], folder, name string) {
	t.Helper()
	png, err := chromedp.Run(ctx, take)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestScreenshots(t *testing.T) {
	if *screenshots == "" && *pictures == "" {
		t.Skip("make screenshots makes the pictures")
	}
	s := startDemo(t)
	// The README shows what a reader sees first of each, at the size of the screen.
	wanted := map[string]bool{"score-desk-light": true, "score-phone-dark": true, "sheet-desk-light": true, "record-desk-dark": true, "shelf-phone-light": true, "glaze-desk-light": true}
	for _, sc := range []screen{desk, phone} {
		for _, scheme := range []string{"light", "dark"} {
			ctx := window(t, sc)
			for _, sh := range demoShots() {
				name := sh.name + "-" + sc.name + "-" + scheme
				if *screenshots == "" && !wanted[name] {
					continue
				}
				do(t, ctx, media("", scheme), chromedp.Navigate(s.url+"/studios/demo/"+sh.path), shows(sh.ready))
				do(t, ctx, sh.steps...)
				do(t, ctx, settled)
				if *screenshots != "" {
					picture(t, ctx, chromedp.FullScreenshot(100), *screenshots, name)
				}
				if *pictures != "" && wanted[name] {
					picture(t, ctx, chromedp.CaptureScreenshot(), *pictures, name)
				}
			}
		}
	}
}
