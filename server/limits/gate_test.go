package limits

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// One party has all seats and fills the queue; what another one asks for then goes next, however many of the first were there before it.
func TestSeatsGoToWhoHasFewest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newGate(2, 8, time.Minute, time.Minute)
		order := make(chan string, 20)
		var wg sync.WaitGroup
		work := func(party string, n int) {
			for range n {
				wg.Go(func() {
					seat := ask{party: party, seats: 1}
					if err := g.enter(t.Context(), seat, time.Now()); err != nil {
						order <- party + " " + err.Error()
						return
					}
					time.Sleep(time.Millisecond)
					order <- party
					g.leave(seat)
				})
				synctest.Wait()
			}
		}
		work("loud", 10) // two work, eight wait
		work("quiet", 2)
		work("third", 1)
		wg.Wait()
		close(order)
		var got []string
		for what := range order {
			got = append(got, what)
		}
		// Each of the three that came last pushes out one that waits, and all have their turn with those that came long before.
		want := []string{"loud busy", "loud busy", "loud busy", "loud", "loud", "loud", "quiet", "quiet", "third"}
		slices.Sort(got[3:5])
		slices.Sort(got[5:7])
		slices.Sort(got[7:9])
		if !slices.Equal(got[:9], want) || len(got) != 13 {
			t.Errorf("got %v; want it to begin with %v, and 13 in all", got, want)
		}
	})
}

func TestFullQueueKeepsItsShareForOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newGate(1, 4, time.Minute, time.Minute)
		one := func(party string) ask { return ask{party: party, seats: 1} }
		if err := g.enter(t.Context(), one("loud"), time.Now()); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 10)
		wait := func(party string) {
			go func() { ended <- g.enter(t.Context(), one(party), time.Now()) }()
			synctest.Wait()
		}
		for range 4 {
			wait("loud")
		}
		if !g.full(one("loud")) || g.full(one("quiet")) {
			t.Errorf("full: for who fills it %v, for others %v", g.full(one("loud")), g.full(one("quiet")))
		}
		wait("loud")
		if err := <-ended; !errors.Is(err, errBusy) {
			t.Errorf("a fifth of the same: %v", err)
		}
		wait("quiet")
		if err := <-ended; !errors.Is(err, errBusy) || g.parties["loud"].waiting != 3 || g.parties["quiet"].waiting != 1 {
			t.Errorf("one of another party: %v, waiting %d and %d", err, g.parties["loud"].waiting, g.parties["quiet"].waiting)
		}
		wait("quiet")
		<-ended
		if !g.full(one("quiet")) {
			t.Error("with two each, neither pushes the other out")
		}
		for range 5 {
			g.leave(one([]string{"loud", "quiet", "loud", "quiet", "loud"}[4-g.waiting]))
			synctest.Wait()
		}
		if g.free != 1 || g.waiting != 0 || len(g.lined) != 0 {
			t.Errorf("%d free, %d waiting, %d lined up", g.free, g.waiting, len(g.lined))
		}
	})
}

// Under lasting overload of one party another one may still wait as after a quiet moment.
func TestPatienceIsEachPartysOwn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newGate(1, 1000, 50*time.Millisecond, 5*time.Millisecond)
		var wg sync.WaitGroup
		work := func(party string) {
			wg.Go(func() {
				seat := ask{party: party, seats: 1}
				if g.enter(t.Context(), seat, time.Now()) == nil {
					time.Sleep(20 * time.Millisecond)
					g.leave(seat)
				} else if party == "quiet" {
					t.Error("the quiet one was turned away")
				}
			})
		}
		for i := range 400 {
			work("loud")
			if i%50 == 49 {
				work("quiet")
			}
			time.Sleep(time.Millisecond)
		}
		wg.Wait()
	})
}

// Long work of one studio never has all places, and parts of sheets of another one come in between.
func TestLongWorkLeavesAPlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newGate(2, 10, time.Hour, time.Hour)
		long := ask{party: "loud", seats: 1, most: 1}
		if err := g.enter(t.Context(), long, time.Now()); err != nil {
			t.Fatal(err)
		}
		second := make(chan error, 1)
		go func() { second <- g.enter(t.Context(), long, time.Now()) }()
		synctest.Wait()
		part := ask{party: "quiet", seats: 1}
		if err := g.turn(t.Context(), part); err != nil {
			t.Fatal(err)
		}
		g.leave(part)
		select {
		case <-second:
			t.Error("the second of the same studio took the last place")
		default:
		}
		g.leave(long)
		if err := <-second; err != nil {
			t.Error(err)
		}
	})
}

// However parties come and go, seats are neither lost nor made.
func TestSeatsAreKept(t *testing.T) {
	g := newGate(5, 7, time.Millisecond, 100*time.Microsecond)
	var wg sync.WaitGroup
	for i := range 400 {
		wg.Go(func() {
			a := ask{party: fmt.Sprint("p", i%7), seats: int64(i%3 + 1), leave: int64(i % 2)}
			for range 50 {
				if g.enter(t.Context(), a, time.Now()) == nil {
					g.leave(a)
				}
			}
		})
	}
	wg.Wait()
	if g.free != 5 || g.waiting != 0 || len(g.lined) != 0 {
		t.Errorf("%d of 5 free, %d waiting, %d lined up", g.free, g.waiting, len(g.lined))
	}
}
