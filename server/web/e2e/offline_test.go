package e2e

import (
	"context"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/fetch"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// offline cuts a window off the network, or connects it again.
func offline(off bool) step {
	return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		if _, err := cdp.Call(ctx, target, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		if _, err := cdp.Call(ctx, target, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
			MatchedNetworkConditions: []*network.Conditions{{Offline: off, DownloadThroughput: -1, UploadThroughput: -1}},
		}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, target, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: off, DownloadThroughput: -1, UploadThroughput: -1})
		return err
	})
}

func (s *server) tiles(t *testing.T, studio string) int {
	t.Helper()
	var got struct{ Tiles []object }
	s.call(t, "GET", "/v1/studios/"+studio+"/tiles", nil, &got)
	return len(got.Tiles)
}

const oneLayer = "score?layer=bone-white~2~b&firing=cone-6"

func TestTilesLoggedOfflineAreKeptAndSent(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, phone)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+oneLayer), shows("Log the tile"), settled,
		offline(true),
		fill("Longest drip", "7"), logTile, shows("Kept on this device"),
		press("Log another tile"), option("Did not move"), logTile, until(`document.querySelector('.head').innerText.includes('2 tiles waiting')`),
		press("tiles waiting"), shows("Waiting to be sent"), shows("Measured: 7 mm"), shows("pending"))
	if n := s.tiles(t, "north"); n != 0 {
		t.Fatalf("the server has %d tiles while the page is offline", n)
	}
	do(t, ctx, offline(false), until(`!document.querySelector('.head').innerText.includes('waiting')`), shows("measured did not move"), shows("measured 7 mm"))
	if n := s.tiles(t, "north"); n != 2 {
		t.Errorf("the server has %d tiles, want 2", n)
	}
}

// A tile that reached the server although its answer was lost is sent again under the same request id, and is there once.
func TestTileWhoseAnswerWasLostIsThereOnce(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+oneLayer), shows("Log the tile"), settled)

	var attempts atomic.Int32
	lost := make(chan struct{})
	paused := make(chan *fetch.EventRequestPaused, 16)
	if err := chromedp.Listen(ctx, func(event any) {
		if e, ok := event.(*fetch.EventRequestPaused); ok {
			paused <- e
		}
	}); err != nil {
		t.Fatal(err)
	}
	go func() {
		for {
			select {
			case <-ctx.Done():
				return
			case e := <-paused:
				lose := e.Request.Method == "POST" && strings.Contains(e.Request.URL, "/tiles?") && attempts.Add(1) == 1
				_ = chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
					if lose {
						_, err := cdp.Call(ctx, target, fetch.FailRequest, fetch.FailRequestParams{RequestID: e.RequestID, ErrorReason: "ConnectionReset"})
						close(lost)
						return err
					}
					_, err := cdp.Call(ctx, target, fetch.ContinueRequest, fetch.ContinueRequestParams{RequestID: e.RequestID})
					return err
				}))
			}
		}
	}()
	do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, fetch.Enable, fetch.EnableParams{Patterns: []*fetch.RequestPattern{{URLPattern: "*/tiles?*", RequestStage: "Response"}}})
		return err
	}),
		fill("Longest drip", "11"), logTile, shows("Kept on this device"))
	select {
	case <-lost:
	case <-time.After(limit):
		t.Fatal("the tile was not sent")
	}
	if n := s.tiles(t, "north"); n != 1 {
		t.Fatalf("the server has %d tiles after the lost answer, want 1", n)
	}
	// A page that is closed and opened again goes on.
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/tiles"), until(`!document.querySelector('.head').innerText.includes('waiting')`), shows("measured 11 mm"))
	if n := s.tiles(t, "north"); n != 1 || attempts.Load() < 2 {
		t.Errorf("the server has %d tiles after %d attempts, want 1 after at least 2", n, attempts.Load())
	}
}

// A tile that the server refuses is kept with the reason.
func TestRefusedTileIsKeptWithTheReason(t *testing.T) {
	s := startServer(t)
	s.invent(t, "north", 0)
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/"+oneLayer), shows("Log the tile"), settled)
	s.call(t, "DELETE", "/v1/studios/north/glazes/bone-white", nil, nil)
	do(t, ctx, fill("Longest drip", "8"), logTile, shows("The server refused it"), press("waiting"), shows("✕ refused"), shows("bone-white"))
}
