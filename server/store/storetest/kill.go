package storetest

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"maps"
	mathrand "math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/catchline/catchline/server/store"
)

// KillsEnv names the variable that says how often Kill kills; 20 times if it is not set.
const KillsEnv = "CATCHLINE_TEST_KILLS"

const (
	victimEnv     = "CATCHLINE_TEST_VICTIM" // where the victim's store is
	victimNextEnv = "CATCHLINE_TEST_VICTIM_NEXT"

	victimWriters = 16
)

// RunVictim does nothing in a process that Kill has not started. In one that it has, it writes to the store
// until it is killed. Call it first thing in TestMain.
func RunVictim(open func(where string) (store.Store, error)) {
	where := os.Getenv(victimEnv)
	if where == "" {
		return
	}
	s, err := open(where)
	if err != nil {
		fmt.Fprintln(os.Stderr, "the victim cannot open its store:", err)
		os.Exit(1)
	}
	var next [victimWriters]int
	for w, text := range strings.Split(os.Getenv(victimNextEnv), ",") {
		if next[w], err = strconv.Atoi(text); err != nil {
			panic(err)
		}
	}
	var wg sync.WaitGroup
	for w := range victimWriters {
		wg.Go(func() {
			for i := next[w]; ; i++ {
				// The request is that of any attempt at this tile; the ID is made anew for each,
				// as a server makes it, so that a repetition done twice would show.
				id := rand.Text()
				ops := []store.Op{store.Insert(record(tile(id), victimBody(w, i)))}
				if hasTwin(i) {
					ops = append(ops, store.Insert(record(twin(id), victimBody(w, i))))
				}
				a, err := s.Write(context.Background(), store.Write{Request: request(fmt.Sprintf("%d-%d", w, i), "hash"), Ops: ops})
				if err != nil {
					fmt.Fprintln(os.Stderr, "the victim cannot write:", err)
					os.Exit(1)
				}
				// One system call, so that a line is whole or not there.
				fmt.Fprintf(os.Stdout, "%d %d %s\n", w, i, a.Records[0].ID)
			}
		})
	}
	wg.Wait()
}

func twin(id string) store.Key { return store.Key{Studio: studio, Kind: store.KindSheet, ID: id} }

// hasTwin reports whether the write of a tile does a second thing.
func hasTwin(i int) bool { return i%2 == 0 }

// victimBody is some hundred bytes that differ from tile to tile.
func victimBody(writer, i int) string {
	return strings.Repeat(fmt.Sprintf("%d-%d ", writer, i), 40)
}

// Kill starts a process that writes to the store, of 16 tiles at a time, kills it without warning, and looks
// for every write that was acknowledged, for halves of writes and for doubles; then again, with the writes
// under way repeated by their requests. The store has to be new.
func Kill(t *testing.T, where string, open func(where string) (store.Store, error)) {
	kills := 20
	if text := os.Getenv(KillsEnv); text != "" {
		var err error
		if kills, err = strconv.Atoi(text); err != nil {
			t.Fatalf("%s: %v", KillsEnv, err)
		}
	}
	s, err := open(where)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Write(t.Context(), write(store.Insert(studioRecord(studio)))); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	var acknowledged [victimWriters][]string // IDs
	count := 0
	for kill := range kills {
		count += killOnce(t, where, &acknowledged)
		if err := inspect(t.Context(), where, open, &acknowledged); err != nil {
			t.Fatalf("after kill %d, %d writes acknowledged: %v", kill+1, count, err)
		}
	}
	t.Logf("%d kills, %d writes acknowledged, none lost, halved or doubled", kills, count)
}

func killOnce(t *testing.T, where string, acknowledged *[victimWriters][]string) int {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	var next []string
	for _, ids := range acknowledged {
		next = append(next, strconv.Itoa(len(ids)))
	}
	victim := exec.Command(self, "-test.run=^$")
	victim.Env = append(os.Environ(), victimEnv+"="+where, victimNextEnv+"="+strings.Join(next, ","))
	var complaints strings.Builder
	victim.Stderr = &complaints
	out, err := victim.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := victim.Start(); err != nil {
		t.Fatal(err)
	}
	// By a number of lines and not by the clock, so that it hits opening, writing and folding the log
	// alike on a slow machine and a fast one.
	patience := mathrand.IntN(300)
	lines, count := bufio.NewReader(out), 0
	for {
		if count == patience {
			victim.Process.Kill()
		}
		line, err := lines.ReadString('\n')
		if errors.Is(err, io.EOF) {
			break
		}
		var w, i int
		var id string
		if _, e := fmt.Sscanf(line, "%d %d %s", &w, &i, &id); e != nil || err != nil {
			t.Fatalf("the victim said %q: %v", line, errors.Join(e, err))
		}
		if i != len(acknowledged[w]) {
			t.Fatalf("writer %d acknowledged tile %d after %d", w, i, len(acknowledged[w]))
		}
		acknowledged[w] = append(acknowledged[w], id)
		count++
	}
	victim.Wait()
	if complaints.Len() > 0 || count < patience {
		t.Fatalf("the victim ended by itself after %d writes: %s", count, &complaints)
	}
	return count
}

func inspect(ctx context.Context, where string, open func(string) (store.Store, error), acknowledged *[victimWriters][]string) error {
	s, err := open(where)
	if err != nil {
		return err
	}
	defer s.Close()
	// A server may go on with what the victim had sent it. The two scans are of one moment if nothing was written meanwhile.
	versions, err := s.Versions(ctx, studio)
	if err != nil {
		return err
	}
	for {
		err = inspectAt(ctx, s, versions[store.KindTile], acknowledged)
		after, e := s.Versions(ctx, studio)
		if e != nil {
			return e
		}
		if maps.Equal(after, versions) {
			return err
		}
		versions = after
	}
}

// inspectAt inspects a studio that is at a version.
func inspectAt(ctx context.Context, s store.Store, version int64, acknowledged *[victimWriters][]string) error {
	byBody, twins := map[string]string{}, map[string]string{}
	if err := s.Scan(ctx, studio, store.KindSheet, func(r store.Record) error {
		twins[r.ID] = string(r.Body)
		return nil
	}); err != nil {
		return err
	}
	var last int64
	withTwin := 0
	if err := s.Scan(ctx, studio, store.KindTile, func(r store.Record) error {
		body := string(r.Body)
		if other, twice := byBody[body]; twice {
			return fmt.Errorf("a write was done twice: %s and %s", other, r.ID)
		}
		byBody[body] = r.ID
		var w, i int
		if _, err := fmt.Sscanf(body, "%d-%d ", &w, &i); err != nil {
			return err
		}
		if hasTwin(i) {
			withTwin++
			if twins[r.ID] != body {
				return fmt.Errorf("half a write: %s has the twin %q", r.ID, twins[r.ID])
			}
		}
		last = r.Sequence
		return nil
	}); err != nil {
		return err
	}
	if len(twins) != withTwin {
		return fmt.Errorf("half a write: %d tiles with a twin, %d twins", withTwin, len(twins))
	}
	count := 0
	for w, ids := range acknowledged {
		for i, id := range ids {
			if got := byBody[victimBody(w, i)]; got != id {
				return fmt.Errorf("writer %d, tile %d was acknowledged as %s and is %q", w, i, id, got)
			}
		}
		count += len(ids)
	}
	if under := len(byBody) - count; under > victimWriters {
		return fmt.Errorf("%d writes more than were acknowledged or under way", under)
	}
	if version < last {
		return fmt.Errorf("the version %d is behind the sequence %d", version, last)
	}
	return nil
}
